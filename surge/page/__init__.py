"""The page in the browser: ``surge page`` serves it to this machine only.

The page holds the text of a case and asks for everything else. What it is told comes from :mod:`surge.api`,
so that page and command line cannot differ. Here are the server, the folder that it works in, the processes
that compute, and the files of the page itself (``static``): plain modules, one sheet of styles, no build
step.

Only :mod:`surge.cli` may import this room; starlette, uvicorn and tomlkit stay in it.

Begin with :func:`surge.page.app.application`, :class:`surge.page.guard.Guard` and
:func:`surge.page.answers.answer`.
"""
