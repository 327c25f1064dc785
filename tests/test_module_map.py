"""DEVELOPERS.md lists every module, as the modules speak of themselves."""

from scripts.module_map import PAGE, module_map, written


def test_the_map_in_developers_md_is_true():
    page = PAGE.read_text(encoding="utf-8")
    assert page == written(page, module_map()), "run: python -m scripts.module_map --write"
