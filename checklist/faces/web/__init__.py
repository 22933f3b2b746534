"""The ward's screens in a browser: server-rendered pages over the same stations as the terminal.

`serve` makes a `Desk`, `make_app` the pages around it. One thread writes (`writer`), pages read on
connections of their own. The packages `nurse`, `educator`, `quality` and `pharmacy` each give their
pages by `routes(desk)`.
"""
