"""One window of WebKitGTK that lets itself be driven; Debian's own Python runs it.

The small browser that comes with WebKitGTK keeps nothing of a driven session, and of a session that keeps
nothing WebKit writes no console. This one keeps, in the folder that is named for data. Each argument is
NAME=true or NAME=false, a property of `WebKit2.Settings`.
"""

from __future__ import annotations

import os
import sys
from typing import Any

import gi

gi.require_version("Gtk", "3.0")
gi.require_version("WebKit2", "4.1")
from gi.repository import Gtk, WebKit2  # noqa: E402 — the versions come first

folder = os.environ["XDG_DATA_HOME"]
manager = WebKit2.WebsiteDataManager(base_data_directory=folder, base_cache_directory=folder)
context = WebKit2.WebContext.new_with_website_data_manager(manager)
settings = WebKit2.Settings(enable_write_console_messages_to_stdout=True)
for given in sys.argv[1:]:
    name, _, value = given.partition("=")
    settings.set_property(name, value == "true")


def opened(_: Any) -> Any:
    """A page in a window without a frame, so that it is as wide as one asks."""
    view = WebKit2.WebView(web_context=context, settings=settings, is_controlled_by_automation=True)
    window = Gtk.Window(decorated=False)
    window.add(view)
    window.show_all()
    view.connect("close", lambda _: window.destroy())
    window.connect("destroy", lambda _: Gtk.main_quit())
    return view


def driven(_: Any, session: Any) -> None:
    """The driver asks by name and version whom it drives, then for the window."""
    told = WebKit2.ApplicationInfo()
    told.set_name("window")
    session.set_application_info(told)
    session.connect("create-web-view", opened)


context.set_automation_allowed(True)
context.connect("automation-started", driven)
Gtk.main()
