"""What the demo's server tells on the terminal."""

import logging

import pytest
from gunicorn.config import Config

from clinic.demo.serving import DemoLogger


@pytest.mark.parametrize(("raised", "is_told"), [(SystemExit(0), False), (ValueError(), True)])
def test_a_page_cut_off_by_ctrl_c_is_no_fault_and_a_fault_is_told(
    raised: BaseException, is_told: bool, caplog: pytest.LogCaptureFixture
) -> None:
    logger = DemoLogger(Config())
    logger.error_log.propagate = True
    with caplog.at_level(logging.ERROR):
        try:
            raise raised
        except (ValueError, SystemExit):
            logger.exception("Error handling request")
    assert bool(caplog.records) is is_told
