"""What is drawn, printed and written for people."""
