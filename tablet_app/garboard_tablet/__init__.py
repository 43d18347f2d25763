"""The tablet app: view models without Kivy in `models`, widgets in `ui`, screens in `pages`."""
