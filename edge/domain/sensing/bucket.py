"""The bucket test of a flow meter: litres over seconds against what the meter shows, with its uncertainty.

Theory. A quotient of independent quantities has the relative variances of both together (GUM, JCGM 100:2008, 5.1.6, equation 12 with
exponents 1 and -1). Where nobody tells how well litres and seconds are known, they are taken as rectangular (4.3.7) within VOLUME_SHARE
of the litres, and within REACTION_S of the seconds at each end of the stopwatch.
"""

from __future__ import annotations

from math import sqrt
from typing import Final, NamedTuple

from edge.domain.sensing.calibration import combined, rectangular

#: a bucket's scale is read within this share of what is in it: common practice, no published source
VOLUME_SHARE: Final = 0.01
#: a hand starts and stops a stopwatch within this [s]: common practice, no published source
REACTION_S: Final = 0.3


class Bucket(NamedTuple):
    """What a bucket test came to.

    Attributes:
        flow_l_min: by bucket and stopwatch [L/min].
        u_l_min: its standard uncertainty [L/min].
        off: by how much of that the meter shows too much; below zero: too little.
        u: standard uncertainty of `off`.
    """

    flow_l_min: float
    u_l_min: float
    off: float
    u: float


def bucket(
    litres: float, seconds: float, meter_l_min: float, litres_u: float | None = None, seconds_u: float | None = None,
    step_l_min: float = 0.0,
) -> Bucket:  # fmt: skip
    """Compare a flow meter with a bucket and a stopwatch.

    Args:
        litres: in the bucket, above 0.
        seconds: that they took, above 0.
        meter_l_min: what the meter showed meanwhile [L/min].
        litres_u: standard uncertainty of the litres; None: by the rule above.
        seconds_u: standard uncertainty of the seconds; None: likewise.
        step_l_min: step of the meter's indication [L/min], which is rectangular (GUM F.2.2.1).

    Source:
        GUM (JCGM 100:2008), 5.1.6; worked through by hand in tests/handbook/test_bucket.py.

    >>> [round(one, 4) for one in bucket(10.0, 60.0, 10.2)]
    [10.0, 0.0707, 0.02, 0.0072]
    """
    of_litres = rectangular(VOLUME_SHARE * litres) if litres_u is None else litres_u
    of_seconds = sqrt(2.0) * rectangular(REACTION_S) if seconds_u is None else seconds_u
    flow = 60.0 * litres / seconds
    relative = combined([of_litres / litres, of_seconds / seconds])
    shown = meter_l_min / flow
    return Bucket(
        flow, flow * relative, shown - 1.0, combined([shown * relative, rectangular(step_l_min / 2.0) / flow])
    )
