"""Every drawing that page, paper and ``show --svg`` use, in one look."""

from simrig.reports.bars import bars
from simrig.reports.marks import Marks, marks
from simrig.reports.plan import plan
from simrig.reports.rates_plot import rates_plot
from simrig.reports.switch_table import switch_table
from simrig.reports.waves import Anomaly, Change, waves

__all__ = [
    "Anomaly",
    "Change",
    "Marks",
    "bars",
    "marks",
    "plan",
    "rates_plot",
    "switch_table",
    "waves",
]
