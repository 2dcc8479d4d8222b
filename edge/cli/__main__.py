"""`python -m edge.cli` is `warmwell`."""

from edge.cli.app import main

main()
