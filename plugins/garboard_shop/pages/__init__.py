"""The manager's pages: the day sheet, every boat, tablets and people. Plain forms, no outside network, no build step.

`desk.ShopDesk` holds what they work with, `views.routes_of` gives the routes for `app.make_app`.
"""
