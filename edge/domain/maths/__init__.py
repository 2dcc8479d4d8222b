"""Statistics that several parts of the domain share: robust figures, mixtures of weighted hypotheses, where to look for new ones.

Plain Python but for what importance.py draws; nothing here knows of stations.
"""
