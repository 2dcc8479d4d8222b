"""Whatever bytes come from outside, each parser answers with a value or with its own refusal, soon, and holds on to nothing.

targets.py has a row for each parser: what it is given, what may come of it, and seeds. edits.py makes other bytes of the seeds. The tests
try a few (test_fuzz.py); `python -m tests.fuzz [--seconds 60] [NAME…]` tries as many as fit into the time, prints a row for each
parser, writes what it found into tests/fuzz/corpus/NAME, the smallest such bytes that it comes to, and ends with 1 where it found
something. All of corpus/ is tried by the tests for ever after.
"""
