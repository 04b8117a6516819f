"""What do coagulant and hypochlorite do to the water's pH? An estimate for the demo alone."""

import numpy as np

from weirhouse.demo.clock import Floats, smooth
from weirhouse.demo.creek import Creek
from weirhouse.demo.train import Course

# Of the product: 17 percent Al2O3 of which 57 percent of the charge is free to take alkalinity, as CaCO3.
TAKEN = 0.17 * (6 * 50.04 / 101.96) * 0.57  # alkalinity [g as CaCO3 per g of product]


def after(creek: Creek, course: Course) -> dict[str, Floats]:
    """Return pH of the settled water and of the water that leaves the clearwell, by quarter-hour."""
    first_constant = 6.58 - 0.0095 * np.clip(creek.temperature, 0, 25)  # of carbonic acid, read off a chart
    bicarbonate = creek.alkalinity / 50.04  # [meq/L]
    acid = bicarbonate * 10 ** (first_constant - creek.ph)
    taken = np.minimum(course.columns["coagulant_dose"] * TAKEN / 50.04, 0.8 * bicarbonate)
    settled = first_constant + np.log10((bicarbonate - taken) / (acid + taken))
    settled = smooth(settled, 16.0)  # the basins even it out over hours
    chlorinated = smooth(settled + 0.03 + 0.02 * course.columns["chlorine_dose"], 12.0)
    return {"settled_ph": settled, "contact_ph": chlorinated, "raw_ph": creek.ph, "raw_alkalinity": creek.alkalinity}
