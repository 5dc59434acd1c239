"""How the networks of the ear are made again: what they learn from, and how they are fitted.

``material`` and ``band_material`` make takes whose notes are known, out of ``lines`` that
``performers`` play on sampled instruments in ``company``, and of ``synthesis``, ``speech`` and
``noise``, all through ``effects``. ``fit``, ``fit_scene`` and ``fit_together`` make examples of
them; ``fitting`` finds the weights. Nothing here is needed to hear a take.
"""
