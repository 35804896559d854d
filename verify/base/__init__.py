"""What every room rests on: problems in words, data files, cautions, compiled functions."""
