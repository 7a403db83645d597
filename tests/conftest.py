"""One way of drawing examples everywhere: the same ones on each run, on a slow machine too."""

import hypothesis

hypothesis.settings.register_profile(
    "repeatable",
    derandomize=True,
    deadline=None,
    suppress_health_check=[hypothesis.HealthCheck.too_slow],
)
hypothesis.settings.load_profile("repeatable")
