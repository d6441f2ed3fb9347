"""Many machines at once: each vetted and campaigned, by any executor, kept as it goes.

::

    with ProcessPoolExecutor(4) as pool:
        for machine in simrig.campaign(["a.toml", "b.toml"], executor=pool, singles=10):
            print(machine.id, machine.summary.isolated)

An :class:`~simrig.fleet.orders.Order` is a piece of one machine's work, small enough to
send anywhere; :func:`~simrig.fleet.work.do` does it, wherever it arrives.
:class:`~simrig.fleet.running.Run` hands the orders out and puts what comes back together.
Pieces do not depend on how many workers there are, and are put together in their own order:
the answer is the same whoever did them, and when.
"""
