import pluggy
hookimpl = pluggy.HookimplMarker("garboard")
