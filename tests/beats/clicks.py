"""Kinds of click that a player records along with, each in several draws."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from clicking import LEAD_IN_S, SOUNDS, Clicked, Plan, as_sound, clicked, noisy, put, spoken
