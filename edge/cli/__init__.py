"""The command line: a few lines a verb.

app.py has the verbs that need no running station, running.py those that ask one by its API (client.py), people_verbs.py who may sign
in. What all say alike, a result or a refusal, is in edge/terminal.py; words that nobody understands are refused in usage.py, and
completion.py tells shells the words that there are. What is heavy is imported where it is used: a command starts at once.
"""
