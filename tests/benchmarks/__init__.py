"""Accuracy and speed on synthetic radiographs with exact truth; run by hand, see README.md here."""
