"""Teaching material from curated faults: sheets, answers, quizzes and practice.

`curated` reads which faults are taught, `sheet` works out everything that a sheet says, the other
modules write it down. Nothing on a sheet is written by hand but the story and the editor's notes.
"""
