"""The manager's pages: the day sheet, every boat, tablets and people. Plain forms, no outside network, no build step.

Imports the web stack, so import this package only where the pages are served.
"""

from garboard_shop.pages.desk import ShopDesk
from garboard_shop.pages.views import routes_of

__all__ = ["ShopDesk", "routes_of"]
