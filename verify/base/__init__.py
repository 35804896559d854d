"""What all else rests on: problems in words, data files, cautions, compiled functions."""
