"""The faces: the terminal, one line of JSON at a time, and the demonstration."""
