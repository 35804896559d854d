"""Observations about a circuit against published rules: what a rule is about, seen in a wiring.

They are never verdicts: only an inspector, or whoever has authority where the building stands,
can say that a wiring complies. `Rulebook` is one edition of one jurisdiction's document,
`verify.rules.remarks.remarks` goes through it.
"""
