"""The symptom desk: from what somebody sees to the suspects, and to the next safe check."""
