"""Files of every kind as tables, and what a client's folder and its settings say."""
