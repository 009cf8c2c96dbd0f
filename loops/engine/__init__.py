"""The rules of intrinsic safety: one circuit in, one result out. Pure functions of frozen data, standard library only.

Begin with :func:`loops.engine.verdict.judge`; what goes in is in ``case``, what comes out in ``findings``, where a rule
comes from in ``references``.
"""
