"""The pages of whoever looks after quality: what was caught, over time, and where it came from."""

from __future__ import annotations

from starlette.routing import Route

from checklist.faces.web.desk import Desk
from checklist.faces.web.quality import (
    answers,
    charts,
    downloads,
    overview,
    preparations,
    settings,
    trail_look,
)
from checklist.faces.web.quality.figures import Figures
from checklist.faces.web.quality.page import FREEZE, PROVE, READ, TAKE, Page, guarded
from checklist.permission import Action


def routes(desk: Desk) -> list[Route]:
    """The routes of these pages around a desk."""
    figures = Figures(desk)

    def get(path: str, page: Page, *actions: Action) -> Route:
        return Route(path, guarded(figures, page, *actions or (READ,)), methods=["GET"])

    def post(path: str, page: Page, *actions: Action) -> Route:
        return Route(path, guarded(figures, page, *actions), methods=["POST"])

    verify = (Action.VERIFY,)
    return [
        get("/quality", overview.overview),
        post("/quality/facts", overview.bring_over, TAKE),
        get("/quality/chart/{of}", charts.chart),
        post("/quality/lines", charts.freeze, FREEZE),
        get("/quality/settings", settings.settings),
        get("/quality/preparations", preparations.listed),
        get("/quality/preparation/{id}", preparations.replayed),
        get("/quality/questions", answers.questions),
        get("/quality/questions/{number:int}", answers.numbered),
        get("/quality/answer/{name}", answers.answered),
        get("/quality/before-after", answers.before_after),
        get("/quality/gaps", answers.gaps),
        get("/quality/audit-size", answers.audit_size),
        get("/quality/downloads", downloads.offered, TAKE),
        get("/quality/download/chart.{ending}", downloads.chart, TAKE),
        get("/quality/download/month.{ending}", downloads.month, TAKE),
        get("/quality/download/answer.{ending}", downloads.answer, TAKE),
        get("/quality/download/preparations.{ending}", downloads.preparations, TAKE),
        get("/quality/download/events.zip", downloads.events, TAKE),
        get("/quality/trail", trail_look.looked, *verify),
        post("/quality/trail/look", trail_look.look, *verify),
        post("/quality/trail/head", trail_look.sign, Action.CHECKPOINT),
        get("/quality/trail/head.note", trail_look.head, *verify),
        get("/quality/trail/proof", trail_look.proof, *PROVE),
    ]
