"""Hostile and careless check files: each a change of one that works, with the code and the place it is told by."""

from __future__ import annotations

GOOD = """\
format = "garboard check"
version = 1
name = "rail"
title = "Rail"
edition = "1"
basis = {kind = "shop rule", text = "our list"}

[[setting]]
name = "least"
title = "Least height"
unit = "in"
range = [10, 40]
default = 24

[[step]]
name = "look"
title = "Look at the rail"
phase = "alongside"
order = 396

[[step.field]]
name = "height"
title = "Height"
kind = "amount"
unit = "in"

[[step.field]]
name = "posts"
title = "Posts"
kind = "table"

[[step.field.column]]
name = "pull"
title = "Pull"
kind = "amount"
unit = "lb"

[[value]]
name = "over"
title = "Over the least"
formula = "height - least"
unit = "in"

[[result]]
name = "height"
title = "Height of the rail"
step = "look"
about = "rail"
numbers = ["over"]

[[result.case]]
verdict = "fail"
code = "low"
when = "over < 0"
sentence = "The rail is {height} high. Make it {least}."

[[result.case]]
verdict = "pass"
code = "high"
sentence = "The rail is {height} high."
"""

_FORMULA = 'formula = "height - least"'


def _value(name: str, formula: str) -> str:
    return f'[[value]]\nname = "{name}"\ntitle = "T"\nformula = "{formula}"\nunit = "in"\n'


_MANY_FIELDS = "".join(
    f'[[step.field]]\nname = "f{number}"\ntitle = "F"\nkind = "yes or no"\n' for number in range(300)
)

_KIND = (
    '[[equipment]]\nname = "reels"\ntitle = "Reels"\none = "reel"\n'
    '[[equipment.field]]\nname = "drag"\ntitle = "Drag"\nkind = "amount"\nunit = "lb"\n'
)
_MANY_FACTS = "".join(
    f'[[equipment.field]]\nname = "f{number}"\ntitle = "F"\nkind = "yes or no"\n' for number in range(500)
)
_ROWS = "numbers = [" + '"over",\n' * 5_000 + "]"

# name, what is replaced, by what, the code, and the line's text or the place that the fault is told with
HOSTILE: tuple[tuple[str, str, str, str, str], ...] = (
    ("bomb_of_powers", _FORMULA, 'formula = "9 ** 9 ** 9 ** 9 * height"', "wrong_value", "value[1].formula"),
    ("bomb_of_brackets", _FORMULA, f'formula = "{"(" * 240}height{")" * 240}"', "wrong_value", "value[1].formula"),
    ("bomb_of_signs", _FORMULA, f'formula = "{"-" * 280}height"', "wrong_value", "value[1].formula"),
    ("bomb_of_length", _FORMULA, f'formula = "{"height + " * 400}height"', "wrong_value", "value[1].formula"),
    ("bomb_of_text", _FORMULA, "formula = \"'a' * 999999999\"", "wrong_value", "value[1].formula"),
    ("attributes", _FORMULA, 'formula = "height.__class__.__mro__"', "wrong_value", "value[1].formula"),
    ("calls", _FORMULA, "formula = \"__import__('os').system('ls')\"", "wrong_value", "value[1].formula"),
    ("comprehension", _FORMULA, 'formula = "sum([height for each in height])"', "wrong_value", "value[1].formula"),
    ("wrong_unit", 'unit = "in"\n\n[[result]]', 'unit = "lb"\n\n[[result]]', "wrong_value", "value[1].unit"),
    ("mixed_units", _FORMULA, 'formula = "height - sum(pull)"', "wrong_value", "value[1].formula"),
    ("unknown_unit", 'kind = "amount"\nunit = "lb"', 'kind = "amount"\nunit = "stone"', "wrong_value", "unit"),
    ("without_unit", 'when = "over < 0"', 'when = "over < 6"', "wrong_value", "result[1].case[1].when"),
    ("itself", _FORMULA, 'formula = "over + height"', "wrong_value", "value[1].formula"),
    ("circle", "[[result]]\n", f"{_value('one', 'two')}{_value('two', 'one')}[[result]]\n", "wrong_value", "formula"),
    ("one_name_twice", 'name = "posts"', 'name = "height"', "wrong_value", "step[1].field[2].name"),
    ("keyword", 'name = "posts"', 'name = "lambda"', "wrong_value", "step[1].field[2].name"),
    ("key_of_a_built_in", 'name = "rail"', 'name = "prop_check"', "others_key", "name"),
    ("unknown_name", _FORMULA, 'formula = "hight - least"', "wrong_value", "value[1].formula"),
    ("unknown_key", 'about = "rail"', 'about = "rail"\nordre = 5', "wrong_value", "result[1].ordre"),
    ("unknown_in_sentence", "{height} high. Make", "{hieght} high. Make", "wrong_value", "result[1].case[1].sentence"),
    ("open_brace", 'The rail is {height} high."', 'The rail is {height high."', "wrong_value", "sentence"),
    ("no_basis", 'basis = {kind = "shop rule", text = "our list"}\n', "", "wrong_value", "basis"),
    ("no_source_fails", '{kind = "shop rule"', '{kind = "common practice, no source"', "wrong_value", "verdict"),
    ("no_last_case", 'code = "high"\n', 'code = "high"\nwhen = "over > 0"\n', "wrong_value", "result[1].case"),
    ("no_range", "range = [10, 40]\n", "", "wrong_value", "setting[1].range"),
    ("default_outside", "default = 24", "default = 400", "wrong_value", "setting[1]"),
    ("row_outside", _FORMULA, 'formula = "height - pull"', "wrong_value", "value[1].formula"),
    ("many_rows", "[[value]]\n", f"{_MANY_FIELDS}[[value]]\n", "too_large", "step[1].field"),
    ("huge", "[[result]]\n", "[[result]]\n" + "# rows\n" * 10_000, "too_large", "file"),
    ("no_toml", 'title = "Height"', "title = Height", "syntax_error", "file"),
    ("deep_toml", "default = 24", f"default = {'[' * 3900}", "syntax_error", "file"),
    ("endless_number", "default = 24", f"default = {'9' * 3900}", "wrong_value", "setting[1].default"),
    ("number_as_text", "default = 24", 'default = "24"', "wrong_value", "setting[1].default"),
    ("not_finite", "default = 24", "default = inf", "wrong_value", "setting[1].default"),
    ("kind_twice", "[[step]]\n", f"{_KIND}{_KIND}[[step]]\n", "wrong_value", "equipment[2].name"),
    ("kind_of_no_unit", "[[step]]\n", f"{_KIND.replace('lb', 'stone')}[[step]]\n", "wrong_value", "unit"),
    ("kind_of_500", "[[step]]\n", f"{_KIND}{_MANY_FACTS}[[step]]\n", "too_large", "equipment[1].field"),
    ("kind_of_the_program", "[[step]]\n", f"{_KIND.replace('reels', 'tanks')}[[step]]\n", "wrong_value", "equipment"),
    ("kind_with_a_photo", "[[step]]\n", f"{_KIND.replace('amount', 'photo')}[[step]]\n", "wrong_value", "kind"),
    ("fact_called_name", "[[step]]\n", f"{_KIND.replace('drag', 'removed')}[[step]]\n", "wrong_value", "equipment"),
    (
        "each_of_no_kind",
        'unit = "in"\n\n[[step.field]]',
        'unit = "in"\neach = "reels"\n\n[[step.field]]',
        "unknown_kind",
        "each",
    ),
    ("of_the_future", "version = 1", "version = 2", "other_version", "version"),
    ("nul", 'title = "Height"', 'title = "Hei\0ght"', "syntax_error", "file"),
    ("nul_in_words", 'title = "Height"', 'title = "Hei\\u0000ght"', "wrong_value", "step[1].field[1].title"),
    ("bidi", 'title = "Height"', 'title = "Hei\u202eght"', "wrong_value", "step[1].field[1].title"),
    ("bidi_in_a_list", "order = 396", 'order = 396\nat_hand = ["a\u2066b"]', "wrong_value", "step[1].at_hand"),
    ("bidi_in_a_formula", _FORMULA, 'formula = "height \u202e- least"', "wrong_value", "value[1].formula"),
    ("title_without_end", 'title = "Height"', f'title = "{"H" * 3_900}"', "wrong_value", "step[1].field[1].title"),
    (
        "rows_in_the_file",
        'numbers = ["over"]',
        _ROWS,
        "wrong_value",
        "result[1].numbers",
    ),
    ("deep_key", "default = 24", f"default{'.a' * 1_900} = 24", "wrong_value", "file"),
    ("deep_heading", "[[result]]\n", f"[{'.'.join('a' * 1_900)}]\n[[result]]\n", "wrong_value", "file"),
    ("long_key", "default = 24", f"default{'.a' * 9_000} = 24", "too_large", "file"),
    ("deep_tables_few", "default = 24", f"default = {'{a = ' * 50}24{'}' * 50}", "wrong_value", "file"),
    ("deep_tables", "default = 24", f"default = {'{a = ' * 700}", "syntax_error", "file"),
    ("key_twice", "default = 24", "default = 24\ndefault = 25", "syntax_error", "file"),
    ("always", 'when = "over < 0"', 'when = "1 < 2"', "wrong_value", "result[1].case[1].when"),
    ("attribute_in_words", "{height} high. Make", "{height.unit} high. Make", "wrong_value", "sentence"),
    ("named_like_a_plugin", 'name = "rail"', 'name = "garboard_prop_check"', "others_key", "name"),
    ("named_like_the_shop", 'name = "rail"', 'name = "shop"', "others_key", "name"),
    ("fuel_of_a_heater", 'name = "pull"', 'name = "fuel"', "others_key", "step[1].field[2].column[1].name"),
    ("something_else", 'format = "garboard check"', 'format = "shopping list"', "wrong_value", "format"),
)
