"""`warmwell demo`: a simulated site on this machine, in fast motion, with the store, judge, publisher, API and page of a real one."""
