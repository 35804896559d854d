"""Observations about a circuit against published rules: where a rule's subject is seen in it.

They are never verdicts: only an inspector, or whoever has authority where the building stands, can
say that a wiring complies. `Rulebook` is one edition of one jurisdiction's document,
`verify.rules.remarks.remarks` goes through it.
"""
