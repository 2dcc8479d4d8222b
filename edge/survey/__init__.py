"""`warmwell survey`: what is wired to this board, live, and a station file to start from. It only watches."""
