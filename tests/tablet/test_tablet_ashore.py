"""The tablet comes ashore: a real shop server on loopback, paired by touch, merged, a disagreement settled by touch."""

from test_tablet_commissioning import new_job

from garboard import sync
from garboard.fold import fold
from garboard.hullfile import HullFolder
from garboard.writing import Author, measure
from shop_rig import RunningShop


def test_pair_bring_ashore_and_settle_by_touch(drive, tmp_path):
    """Paired with a typed code; the list says so; what another tablet measured differently is offered for a choice."""
    with RunningShop(tmp_path / "shop") as shop:
        d = drive(tmp_path / "t", threads=True)
        new_job(d)
        d.press("step dock.horn", "choice Yes", "back", "back", "back")
        assert d.says("only on this tablet")

        d.press("ashore", "pair")
        d.write(shop.code().typed)
        d.press("save it")
        d.wait(lambda: d.says("Everything is ashore"), 30)
        assert d.says("Both hold the same")
        d.press("back")
        d.wait(lambda: d.says("ashore.") and not d.says("not ashore"), 30)

        hull = "XYZAB123F526"
        with HullFolder(tmp_path / "other") as other:
            paired = shop.paired("other")
            sync.bring_ashore(other, paired)
            held = [entry for entry in other.entries(hull) if entry.subject[:2] != ("dock.horn", "heard")]
            job = fold(hull, held).jobs[0]
            entry = measure(Author("other", "Kim"), fold(hull, held), job, "dock.horn", "heard", False)
            other.put_if_absent(hull, [entry])
            sync.bring_ashore(other, paired)

        d.press("ashore", "bring ashore now")
        d.wait(lambda: d.says("two values for dock.horn heard"), 30)
        d.press(next(w.name for w in d.widgets() if getattr(w, "name", "").startswith("settle ")))
        d.press("value yes", "reason read again")
        view = d.app.tablet.view(hull, job)
        assert view.value("dock.horn", "heard") is True
        assert view.disagreements == ()


def test_a_wrong_code_says_what_to_do(drive):
    """Nothing is paired, what was typed stays to be corrected."""
    d = drive()
    d.press("ashore", "pair")
    d.write("192.168.1.20 ABC")
    d.press("save it")
    d.wait(lambda: d.has("type again"))
    assert d.app.paired_shop() is None
    d.press("type again")
    from kivy.uix.textinput import TextInput

    assert next(w for w in d.widgets() if isinstance(w, TextInput)).text == "192.168.1.20 ABC"
