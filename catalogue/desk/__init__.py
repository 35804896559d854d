"""The symptom desk leads from what somebody sees to the suspects and the next check."""
