"""Routes of the page: each asks the desk, the job sheet or run, and answers with a screen or with what has changed."""

from __future__ import annotations

import asyncio
from functools import partial
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.responses import HTMLResponse, JSONResponse, Response, StreamingResponse
from starlette.routing import Route, Router

from coverage_audit.errors import InputError
from coverage_audit.papers import screens
from coverage_audit.papers.manual import manual_html, section_html
from coverage_audit.papers.words import screens as words
from coverage_audit.papers.words.safe import json_text
from coverage_audit.sheet.draft import JOB_FILE

from . import answer, asked, changes, fields, kept, together
from .answers import PAPER_POLICY, nothing, served, told, unknown
from .assets import assets
from .desk import PLAN, PROOF, ChangedError
from .drawn import drawn
from .pictures import picture_under
from .tolerances import TELL_S
from .view import job_row, paper_files, sheet_facts

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable

    from starlette.requests import Request

    from coverage_audit.sheet.facts import SheetFacts

    from .desk import Desk, JobFolder
    from .work import Work


class Page:
    """The page of one farm folder."""

    def __init__(self, desk: Desk, work: Work, end: Callable[[], None]) -> None:
        self.desk, self.work, self.end = desk, work, end
        self.loose: dict[str, dict[str, bytes]] = {}

    def router(self) -> Router:
        """Every route there is."""
        get = partial(Route, methods=["GET"])
        post = partial(Route, methods=["POST"])
        job = "/job/{job:str}"
        return Router(
            [
                get("/", self.home),
                get("/manual", self.manual),
                get("/manual/{place:str}", self.paragraph),
                get("/asset/{name:str}", self.asset),
                get(job, self.sheet),
                get(f"{job}/parts", self.parts),
                get(f"{job}/map", self.map),
                get(f"{job}/picture", self.picture),
                get(f"{job}/state", self.state),
                get(f"{job}/events", self.events),
                get("/farm/{folder:str}/{name:str}", self.farm_paper),
                get("/season/state", self.season_state),
                post("/together", self.together),
                post("/season", self.season),
                get(f"{job}/paper/{{folder:str}}/{{name:str}}", self.paper),
                get(f"{job}/file/{{folder:str}}/{{name:str}}", self.file),
                post("/farm", self.farm),
                post("/upload", self.upload),
                post("/jobs", self.new),
                post("/bin", self.to_bin),
                post("/unbin", self.from_bin),
                post("/end", self.ended),
                post(f"{job}/outline", self.outline),
                post(f"{job}/work", self.working),
                post(f"{job}/{{what:str}}", self.change),
            ],
            redirect_slashes=False,
            default=unknown,
        )

    # --- screens --------------------------------------------------------------------------------

    async def home(self, _request: Request) -> Response:
        """List of jobs, or the first question."""
        return HTMLResponse(await run_in_threadpool(self._home))

    def _home(self) -> str:
        desk, folder = self.desk, str(self.desk.root)
        try:
            if not desk.is_there:
                return screens.farm_html(folder)
            farm = desk.farm()
            rows = [job_row(desk, one) for one in desk.jobs()]
            papers = [f"{place}/{name}" for place, name in together.farm_papers(desk)]
            return screens.home_html(farm, rows, desk.in_bin(), folder, papers)
        except InputError as error:
            return screens.gone_html("", str(error))

    async def sheet(self, request: Request) -> Response:
        """The sheet of one job."""
        try:
            facts, _ = await self._facts(request)
        except InputError as error:
            return HTMLResponse(screens.gone_html("", str(error)), 404)
        folder = str(self.desk.job(facts.id).path)
        return HTMLResponse(screens.sheet_html(facts, self.work.facts(facts.id), folder))

    async def manual(self, _request: Request) -> Response:
        """The manual."""
        return HTMLResponse(await run_in_threadpool(manual_html), headers={"content-security-policy": PAPER_POLICY})

    async def paragraph(self, request: Request) -> Response:
        """The one paragraph of the manual behind a question mark."""
        found = await run_in_threadpool(section_html, request.path_params["place"])
        return await nothing(request) if found is None else JSONResponse({"words": found})

    async def asset(self, request: Request) -> Response:
        """One of the fixed files that screens load."""
        found = assets().get(request.path_params["name"])
        if found is None:
            return await nothing(request)
        return Response(found[0], media_type=found[1])

    # --- what scripts ask for -------------------------------------------------------------------

    async def parts(self, request: Request) -> Response:
        """Every part of the sheet anew."""
        return await told(self._parts(request))

    async def _parts(self, request: Request) -> Any:  # noqa: ANN401 - JSON
        facts, _ = await self._facts(request)
        return self._sheet(facts)

    async def map(self, request: Request) -> Response:
        """What the canvases draw."""

        async def found() -> Any:  # noqa: ANN401 - JSON
            facts, job = await self._facts(request)
            return await run_in_threadpool(drawn, facts, job, self.desk)

        return await told(found())

    async def picture(self, request: Request) -> Response:
        """The picture under the map."""
        try:
            facts, _ = await self._facts(request)
        except InputError:
            return await nothing(request)
        found = await run_in_threadpool(picture_under, self.desk, facts.drive)
        return await served(request, found[0] if found else None, saved=False)

    async def state(self, request: Request) -> Response:
        """How far the work is, for a page that has no stream."""
        return JSONResponse(self._state(request.path_params["job"]))

    async def events(self, request: Request) -> Response:
        """The same as a stream of events, until the work is done."""
        return StreamingResponse(self._events(request), media_type="text/event-stream")

    async def _events(self, request: Request) -> AsyncIterator[str]:
        last = -1
        while not await request.is_disconnected():
            state = self._state(request.path_params["job"])
            if state["serial"] != last:
                last = state["serial"]
                yield f"data: {json_text(state)}\n"
            if not state["working"]:
                return
            await asyncio.sleep(TELL_S)

    def _state(self, job: str) -> dict[str, Any]:
        facts = self.work.facts(job)
        told = "" if facts.stage in ("idle", "done") else words.work_words(facts)
        return {
            "stage": facts.stage,
            "words": told,
            "part": facts.part,
            "serial": facts.serial,
            "working": facts.is_working,
        }

    async def paper(self, request: Request) -> Response:
        """A paper to look at."""
        return await self._paper(request, saved=False)

    async def file(self, request: Request) -> Response:
        """A paper to save."""
        return await self._paper(request, saved=True)

    async def farm_paper(self, request: Request) -> Response:
        """A paper of the whole farm to look at."""
        found = together.farm_papers(self.desk).get((request.path_params["folder"], request.path_params["name"]))
        return await served(request, found, saved=False)

    async def _paper(self, request: Request, *, saved: bool) -> Response:
        asked_for = (request.path_params["folder"], request.path_params["name"])
        try:
            path = paper_files(self.desk.job(request.path_params["job"])).get(asked_for)
        except InputError as error:
            return HTMLResponse(screens.gone_html("", str(error)), 404)
        return await served(request, path, saved=saved)

    # --- changes --------------------------------------------------------------------------------

    async def farm(self, request: Request) -> Response:
        """Make the farm folder."""

        async def made() -> Any:  # noqa: ANN401 - JSON
            given = await asked.words(request)
            values = [asked.text(given, key) for key in ("name", "units", "timezone")]
            await run_in_threadpool(self.desk.make, *values)
            return {"go": "/"}

        return await told(made())

    async def upload(self, request: Request) -> Response:
        """Keep a dropped log."""

        async def kept() -> Any:  # noqa: ANN401 - JSON
            file = await asked.one_file(request)
            return {"logs": [await run_in_threadpool(changes.take_file, self.desk, file)]}

        return await told(kept())

    async def new(self, request: Request) -> Response:
        """Make jobs of kept logs."""

        async def made() -> Any:  # noqa: ANN401 - JSON
            logs = asked.texts(await asked.words(request), "logs")
            jobs = await run_in_threadpool(changes.new_jobs, self.desk, logs)
            for job in [await run_in_threadpool(self.desk.job, one) for one in jobs]:
                if not job.draft.lacks:
                    self._begin(job)
            return {"go": f"/job/{jobs[0]}" if len(jobs) == 1 else "/"}

        return await told(made())

    async def to_bin(self, request: Request) -> Response:
        """Put a job into the bin."""

        async def moved() -> Any:  # noqa: ANN401 - JSON
            job = asked.text(await asked.words(request), "job")
            self.work.stop(job)
            await run_in_threadpool(self.desk.to_bin, job)
            return {"go": "/"}

        return await told(moved())

    async def from_bin(self, request: Request) -> Response:
        """Take a job out of the bin."""

        async def moved() -> Any:  # noqa: ANN401 - JSON
            name = asked.text(await asked.words(request), "name")
            await run_in_threadpool(self.desk.from_bin, name)
            return {"go": "/"}

        return await told(moved())

    async def together(self, request: Request) -> Response:
        """Put jobs side by side."""

        async def compared() -> Any:  # noqa: ANN401 - JSON
            jobs = asked.texts(await asked.words(request), "jobs")
            await run_in_threadpool(together.side_by_side, self.desk, jobs)
            return {"go": f"/farm/{together.COMPARED}/compare.html"}

        return await told(compared())

    async def season(self, request: Request) -> Response:
        """Begin to add up the season, or stop it."""

        async def begun() -> Any:  # noqa: ANN401 - JSON
            if asked.text(await asked.words(request), "do") == "stop":
                self.work.stop(together.SEASON)
            else:
                self.work.begin(together.SEASON, partial(together.season_added, self.desk))
            return self._state(together.SEASON)

        return await told(begun())

    async def season_state(self, _request: Request) -> Response:
        """How far the season is."""
        return JSONResponse(self._state(together.SEASON))

    async def ended(self, _request: Request) -> Response:
        """End the program."""
        asyncio.get_running_loop().call_later(TELL_S, self.end)
        return JSONResponse({"ended": True})

    async def outline(self, request: Request) -> Response:
        """Take the files of an outline or a picture, one after the other; the last one says so by its address."""

        async def taken() -> Any:  # noqa: ANN401 - JSON
            job = self.desk.job(request.path_params["job"])
            file = await asked.one_file(request)
            waiting = self.loose.setdefault(job.id, {})
            waiting.update({one.name: one.data for one in fields.outline_parts(file)})
            if request.query_params.get("more") == "yes" and fields.has_room(waiting):
                return {}
            self.loose.pop(job.id)
            what = request.query_params.get("for", "field")
            return await self._changed(await run_in_threadpool(fields.take_files, self.desk, job, waiting, what))

        return await told(taken())

    async def working(self, request: Request) -> Response:
        """Begin or stop the work on an answer or a plan."""

        async def begun() -> Any:  # noqa: ANN401 - JSON
            job = self.desk.job(request.path_params["job"])
            wanted = asked.text(await asked.words(request), "do")
            if wanted == "stop":
                self.work.stop(job.id)
            elif wanted == "proof":
                from .proving import proven  # noqa: PLC0415 - its libraries are an extra, not needed for all else

                self.work.begin(job.id, partial(proven, self.desk, job.path / JOB_FILE, job.path / PROOF))
            elif wanted == "plan":
                self.work.begin(job.id, partial(answer.planned, self.desk, job.path / JOB_FILE, job.path / PLAN))
            else:
                self._begin(job)
            return self._sheet((await self._facts(request))[0])

        return await told(begun())

    async def change(self, request: Request) -> Response:
        """Change one thing of a job, if it stands as the page believes that it does."""

        async def changed() -> Any:  # noqa: ANN401 - JSON
            given = await asked.words(request)
            job = self.desk.job(request.path_params["job"])
            if asked.text(given, "mark") != job.mark:
                raise ChangedError
            act = self._acts().get(request.path_params["what"])
            if act is None:
                raise InputError("the page cannot do this; load it again", "page")
            return await self._changed(await run_in_threadpool(act, job, given))

        return await told(changed())

    def _acts(self) -> dict[str, Callable[[JobFolder, Any], JobFolder]]:
        """What can be changed, by the last word of the address."""
        desk = self.desk

        def machine(job: JobFolder, given: Any) -> JobFolder:  # noqa: ANN401 - JSON
            if "use" in given:
                return kept.use_machine(desk, job, asked.text(given, "use"))
            return kept.keep_machine(desk, job, asked.text(given, "keep"))

        def product(job: JobFolder, given: Any) -> JobFolder:  # noqa: ANN401 - JSON
            if "use" in given:
                return kept.use_product(desk, job, asked.text(given, "use"))
            return kept.keep_product(desk, job, int(asked.number(given, "number")), asked.text(given, "keep"))

        return {
            "set": lambda job, given: changes.set_keys(desk, job, given.get("keys", {})),
            "logs": lambda job, given: changes.add_logs(desk, job, asked.texts(given, "logs")),
            "unlog": lambda job, given: changes.take_off_log(desk, job, int(asked.number(given, "number"))),
            "corners": lambda job, given: fields.set_corners(desk, job, given),
            "edge": lambda job, _given: fields.start_from_edge(desk, job),
            "field": lambda job, given: fields.keep_drawn(desk, job, given),
            "use-field": lambda job, given: fields.use_field(desk, job, asked.text(given, "file")),
            "driven": lambda job, _given: fields.use_driven(desk, job),
            "spray-it": lambda job, given: fields.without_area(desk, job, given),
            "machine": machine,
            "product": product,
            "said": lambda job, given: changes.remember(desk, job, given, sheet_facts(desk, job)),
        }

    async def _changed(self, job: JobFolder) -> Any:  # noqa: ANN401 - JSON
        """The sheet after a change; the answer follows when nothing is open."""
        facts = await run_in_threadpool(sheet_facts, self.desk, job)
        if not facts.draft.lacks and facts.is_old and not facts.faults:
            self._begin(job)
        return self._sheet(facts)

    def _begin(self, job: JobFolder) -> None:
        self.work.begin(job.id, partial(answer.answered, self.desk, job.id))

    def _sheet(self, facts: SheetFacts) -> dict[str, Any]:
        work = self.work.facts(facts.id)
        told = {"title": screens.title_of(facts), "parts": screens.parts_html(facts, work)}
        return {"mark": facts.mark, **told, **self._state(facts.id)}

    async def _facts(self, request: Request) -> tuple[SheetFacts, JobFolder]:
        job = await run_in_threadpool(self.desk.job, request.path_params["job"])
        return await run_in_threadpool(sheet_facts, self.desk, job), job
