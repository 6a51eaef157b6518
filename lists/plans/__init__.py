"""The plan of a day: the question as a document, and every way of answering it."""
