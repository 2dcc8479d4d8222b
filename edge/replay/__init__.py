"""`warmwell replay`: recorded readings through exactly the code that runs live, in the data's own time. Nothing is looked at ahead."""
