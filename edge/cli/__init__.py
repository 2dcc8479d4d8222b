"""The command line: a few lines a verb (app.py).

What is asked of a running station goes by its API (client.py). What is heavy is imported where it is used: a command starts at
once.

"""
