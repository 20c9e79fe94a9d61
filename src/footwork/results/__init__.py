"""Answers, one record a question: typed fields, and the same JSON everywhere."""
