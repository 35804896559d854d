"""This room makes teaching material from curated faults: sheets, answers, quizzes and practice.

`curated` reads which faults are taught, `sheet` works out everything that a sheet says, and the
other modules write it down. Only the story and the editor's notes on a sheet are written by hand.
"""
