"""The monthly run: who is owed a letter, compiled in the background, reviewed one by one."""
