"""The process that owns the chain: the engine in a thread of its own, the door to its clients in another.

`owner` is the engine's thread and the way to it, `session` the runs one after the other, each with its record, `news`
the way of a frame to the clients, `requests` what each message of a client does, `beginning` how a run begins, `ending`
when it all ends, `host` the process, `log` its words, `spawn` its start. `recent` is what is remembered for clients
that come late: events, `trend`, `registers`, `energy`. `introduce` is what a client is told first, `drawn` a plan as
data, `world` what clients may do to a rehearsal: faults by hand, another pace.
"""
