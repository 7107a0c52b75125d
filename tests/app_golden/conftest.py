"""A job in production mode, as short as a fit allows."""

from __future__ import annotations

import pytest

from tests.production_job import PRODUCTION, job_text


@pytest.fixture
def line_job(tmp_path):
    """Path of the job; whether it allows a simulated bench is asked for."""

    def write(*, simulated=True):
        path = tmp_path / "line.toml"
        production = PRODUCTION.replace("simulated = true", f"simulated = {str(simulated).lower()}")
        path.write_text(job_text(production=production))
        return str(path)

    return write
