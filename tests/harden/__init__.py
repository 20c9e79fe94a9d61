"""Attacks on the program: mutated files, kills, crowds, flipped bytes, faults of the machine, hostile input."""
