"""A transparent film met over a ground that it was not laid on: open readings of oil paints.

Source and licence: tests/data/README.md. The limits stand a little above what was measured when
they were set; ``python -m tests.benchmarks real --of paints`` prints the numbers.
"""

import numpy as np
import pytest

from tests.benchmarks.paint_films import chart_repeats, copied, films, met
from tests.benchmarks.real_data import film


def test_the_readings_are_what_their_source_says():
    # Of each paint four spectra, every pair further apart than 5; of the 25 the median is 13.4.
    apart = np.concatenate([copied("black", glazes=glazes) for glazes in (True, False)])
    assert len(apart) == 25
    assert apart.min() > 5
    assert np.median(apart) == pytest.approx(13.4, abs=0.5)
    X, light = films(glazes=True)
    assert len(X) == 4 * 5
    assert light[0, :3] == pytest.approx([0.5483, 0.7298, 0.7839])  # bare white of the first
    assert np.median(chart_repeats("white")) < 0.2  # one chart stands for another
    assert np.median(chart_repeats("black")) < 0.1


def test_a_glaze_over_white_foretells_the_same_over_black():
    law = met(film, "black", glazes=True)
    # The other way, from black to white, nobody can. Paints that scatter are not for it.
    assert np.median(law) < 2.7
    assert law.max() < 3.5
    assert law.mean() < 0.1 * copied("black", glazes=True).mean()
