"""Recordings of power analysers and fault recorders, made during a run: waveforms → traces in the run's time.

What is made of one lies beside the sealed record, names its hash, and never changes it.
"""
