"""To look for the tests loads nothing heavy."""


def test_neither_the_tablets_window_nor_scipy_is_loaded_to_collect(loaded_to_collect: list[str]) -> None:
    """Each worker would hold 180 MB for the other's tests; see `pytest_collection_modifyitems` in conftest.py."""
    assert loaded_to_collect == []
