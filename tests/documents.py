"""The documents of the project, whose words and links are held to what is there."""

DOCUMENTS = (
    "README.md",
    "DEVELOPERS.md",
    "core/README.md",
    "plugins/README.md",
    "plugins/garboard_shop/README.md",
    "plugins/garboard_shop/PROTOCOL.md",
    "plugins/garboard_shop/SECURITY.md",
    "sample_jobs/README.md",
    "tablet_app/README.md",
    "tests/README.md",
    "tests/bench/RESULTS.md",
    ".ci/README.md",
)
