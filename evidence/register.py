"""All studies, in the order of the page. A new one is a module in ``studies`` with a STUDY, and a line here."""

from __future__ import annotations

from evidence.studies import (
    campaign_coverage,
    closure_fleet,
    conformity_calibration,
    line_coverage,
    linear_law,
    reader_fuzz,
    record_bytes,
    record_kills,
    record_package,
    record_writers,
)
from evidence.study import Study

STUDIES: tuple[Study, ...] = (
    line_coverage.STUDY,
    campaign_coverage.STUDY,
    conformity_calibration.STUDY,
    closure_fleet.STUDY,
    linear_law.STUDY,
    *reader_fuzz.STUDIES,
    record_bytes.STUDY,
    record_kills.STUDY,
    record_writers.STUDY,
    record_package.STUDY,
)
