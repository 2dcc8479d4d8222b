"""The page's certificate: made here or given by the site's authority, read, and taken anew while the page is served.

Theory of operation. A station file names a certificate and its key (of the site's authority), or neither: then both are kept in
its [keep] folder, made by making.py as an X.509 v3 certificate (RFC 5280) of one year that nobody vouches for but whoever
compares its fingerprint. reading.py says what a pair of files holds and refuses what no browser would take. live.py builds the
server's ssl context from it and looks at the files each second: a pair that can be used is taken for the connections to come, one
that can't leaves the old in force and is told. `cryptography` and `ssl` are imported where they are used: a station without TLS
pays for neither.
"""
