"""Runs the main job with a client generated from the contract: health, reflection, a branch with its records, a
planned and published morning, crew sheets, a tag-out, the re-plan, the release; and reads what a refused call says.

Run by tests/run. The steps build on one another, so the first that fails ends the run.
"""

import sys
import tempfile
import traceback
import uuid
from http.client import HTTPConnection
from pathlib import Path

import grpc
from google.protobuf import descriptor_pb2
from google.rpc import error_details_pb2
from grpc_health.v1 import health_pb2, health_pb2_grpc
from grpc_status import rpc_status

import branch_data as data
import contract
from reflected import METHODS, Reflection, without_json_names
from server import Server


def new_id() -> str:
    return str(uuid.uuid4())


class MainJob:
    """The steps, in order; each takes what the ones before left behind."""

    def __init__(self, v1: contract.Contract, server: Server, channel: grpc.Channel) -> None:
        self.v1 = v1
        self.server = server
        self.channel = channel
        self.branches = v1.BranchServiceStub(channel)
        self.sites = v1.SiteServiceStub(channel)
        self.units = v1.UnitServiceStub(channel)
        self.crews = v1.CrewServiceStub(channel)
        self.jobs = v1.JobServiceStub(channel)
        self.plans = v1.PlanServiceStub(channel)
        self.tag_outs = v1.TagOutServiceStub(channel)

    def health_says_serving(self) -> None:
        health = health_pb2_grpc.HealthStub(self.channel)
        for service in ["", *sorted(self.v1.service_names())]:
            answer = health.Check(health_pb2.HealthCheckRequest(service=service))
            assert answer.status == health_pb2.HealthCheckResponse.SERVING, (service, answer)

    def reflection_lists_every_service(self) -> None:
        for version in METHODS:
            services = Reflection(self.channel, version).services()
            missing = self.v1.service_names() | {"grpc.health.v1.Health"}
            missing -= services
            assert not missing, (version, missing)

    def reflection_tells_the_contract(self) -> None:
        for version in METHODS:
            reflection = Reflection(self.channel, version)
            for descriptor in self.v1.descriptors:
                ours = descriptor_pb2.FileDescriptorProto()
                descriptor.CopyToProto(ours)
                without_json_names(ours)
                for service in descriptor.services_by_name.values():
                    told = reflection.file_of(service.full_name)
                    assert told.service == ours.service, (version, service.full_name)
                    assert told.message_type == ours.message_type, (version, service.full_name)
                    assert told.enum_type == ours.enum_type, (version, service.full_name)

    def a_branch_is_created(self) -> None:
        answer = self.branches.CreateBranch(
            self.v1.CreateBranchRequest(branch_id="tamsin", branch=data.branch(self.v1), request_id=new_id())
        )
        assert answer.branch.name == data.BRANCH, answer
        read = self.branches.GetBranch(self.v1.GetBranchRequest(name=data.BRANCH))
        assert read.branch == answer.branch, (read, answer)

    def records_are_created(self) -> None:
        v1 = self.v1
        for id, unit in data.units(v1).items():
            self.units.CreateUnit(v1.CreateUnitRequest(parent=data.BRANCH, unit_id=id, unit=unit, request_id=new_id()))
        self.crews.CreateCrew(
            v1.CreateCrewRequest(parent=data.BRANCH, crew_id="elm", crew=data.crew(v1), request_id=new_id())
        )
        for id, worker in data.workers(v1).items():
            self.crews.CreateWorker(
                v1.CreateWorkerRequest(parent=data.BRANCH, worker_id=id, worker=worker, request_id=new_id())
            )
        for id, site in data.sites(v1).items():
            self.sites.CreateSite(v1.CreateSiteRequest(parent=data.BRANCH, site_id=id, site=site, request_id=new_id()))
        for id, job in data.jobs(v1).items():
            stored = self.jobs.CreateJob(
                v1.CreateJobRequest(parent=data.BRANCH, job_id=id, job=job, request_id=new_id())
            ).job
            assert stored.tasks, stored
        names, token = [], ""
        while True:
            page = self.units.ListUnits(v1.ListUnitsRequest(parent=data.BRANCH, page_size=3, page_token=token))
            assert len(page.units) <= 3, page
            names += [unit.name for unit in page.units]
            token = page.next_page_token
            if not token:
                break
        assert names == [f"{data.BRANCH}/units/{id}" for id in sorted(data.units(v1))], names

    def the_day_is_planned(self) -> None:
        v1 = self.v1
        request = v1.PlanDayRequest(parent=data.BRANCH, day=data.DAY, seed=3, iterations=2000, request_id=new_id())
        self.draft = self.plans.PlanDay(request).plan
        assert self.draft.state == v1.PLAN_STATE_DRAFT, self.draft
        assert not self.draft.unplanned_jobs, self.draft.unplanned_jobs
        (day,) = [day for day in self.draft.crew_days if day.stops]
        assert day.crew == data.CREW, day
        stops = {stop.job: stop for stop in day.stops}
        assert set(stops) == {f"{data.BRANCH}/jobs/{id}" for id in ("school-mow", "corner-mow")}, stops
        # 9:30 in America/Chicago is 14:30 UTC on that day.
        quiet_until = stops[f"{data.BRANCH}/jobs/school-mow"].start_time.ToDatetime()
        assert (quiet_until.hour, quiet_until.minute) >= (14, 30), quiet_until
        corner = stops[f"{data.BRANCH}/jobs/corner-mow"]
        assert list(corner.tasks[0].units) == [f"{data.BRANCH}/units/walk-30"], corner

    def the_plan_is_published(self) -> None:
        v1 = self.v1
        request = v1.PublishPlanRequest(name=self.draft.name, etag=self.draft.etag, request_id=new_id())
        self.published = self.plans.PublishPlan(request).plan
        assert self.published.state == v1.PLAN_STATE_PUBLISHED, self.published
        again = self.plans.PublishPlan(request).plan
        assert again == self.published, "a call sent again is answered otherwise"
        read = self.plans.GetPublishedPlan(v1.GetPublishedPlanRequest(parent=data.BRANCH, day=data.DAY)).plan
        assert read == self.published, read

    def the_crew_gets_its_sheet(self) -> None:
        (sheet,) = self.plans.ListCrewSheets(self.v1.ListCrewSheetsRequest(plan=self.published.name)).crew_sheets
        assert list(sheet.worker_display_names) == ["Ada of Elm"], sheet
        assert "LG-walk-30" in {unit.serial_number for unit in sheet.units}, sheet.units
        (school,) = [stop for stop in sheet.stops if stop.job.endswith("/school-mow")]
        assert [hazard.description for hazard in school.hazards] == ["Standing pipe behind the goal"], school
        assert "heap behind the gym" in school.clippings, school
        assert school.work_lines and sheet.cautions, sheet

    def a_unit_is_tagged_out(self) -> None:
        v1 = self.v1
        loaded = {unit for day in self.published.crew_days for unit in day.load_out}
        self.failing = data.BIG_MOWER if data.BIG_MOWER in loaded else f"{data.BRANCH}/units/walk-30"
        answer = self.tag_outs.TagOut(
            v1.TagOutRequest(
                parent=data.BRANCH,
                tag_out={
                    "unit": self.failing,
                    "symptom": v1.SYMPTOM_VIBRATION,
                    "severity": v1.SEVERITY_UNSAFE,
                    "found_by": data.ADA,
                    "description": "shakes under load",
                },
                request_id=new_id(),
            )
        )
        self.tag_out = answer.tag_out
        assert list(answer.affected_plans) == [self.published.name], answer
        assert self.tag_out.contact.phone == "555-0100", self.tag_out
        unit = self.units.GetUnit(v1.GetUnitRequest(name=self.failing)).unit
        assert unit.state == v1.UNIT_STATE_TAGGED_OUT, unit
        assert unit.open_tag_out == self.tag_out.name, unit

    def the_day_is_planned_again(self) -> None:
        v1 = self.v1
        request = v1.ProposeReplanRequest(
            parent=data.BRANCH, day=data.DAY, cause="the mower shakes", seed=3, iterations=2000, request_id=new_id()
        )
        proposal = self.plans.ProposeReplan(request).proposals[0]
        assert proposal.changes and all(change.text for change in proposal.changes), proposal
        for day in proposal.plan.crew_days:
            assert self.failing not in day.load_out, day
            for stop in day.stops:
                assert all(self.failing not in task.units for task in stop.tasks), stop
        accepted = self.plans.AcceptProposal(
            v1.AcceptProposalRequest(name=proposal.plan.name, etag=proposal.plan.etag, request_id=new_id())
        ).plan
        assert accepted.state == v1.PLAN_STATE_PUBLISHED, accepted
        before = self.plans.GetPlan(v1.GetPlanRequest(name=self.published.name)).plan
        assert before.state == v1.PLAN_STATE_REPLACED, before

    def the_mechanic_brings_it_back(self) -> None:
        v1 = self.v1
        common = {"name": self.tag_out.name, "mechanic": data.GUS}
        try:
            self.tag_outs.ReleaseTagOut(v1.ReleaseTagOutRequest(**common, request_id=new_id()))
            raise AssertionError("released without an inspection")
        except grpc.RpcError as refusal:
            assert refusal.code() == grpc.StatusCode.FAILED_PRECONDITION, refusal
        self.tag_outs.RecordDiagnosis(
            v1.RecordDiagnosisRequest(**common, diagnosis="blade out of balance", request_id=new_id())
        )
        self.tag_outs.RecordRepair(v1.RecordRepairRequest(**common, repair="blade replaced", request_id=new_id()))
        self.tag_outs.RecordInspection(
            v1.RecordInspectionRequest(**common, inspection="runs true", passed=True, request_id=new_id())
        )
        released = self.tag_outs.ReleaseTagOut(v1.ReleaseTagOutRequest(**common, request_id=new_id())).tag_out
        assert released.state == v1.TAG_OUT_STATE_RELEASED, released
        unit = self.units.GetUnit(v1.GetUnitRequest(name=self.failing)).unit
        assert unit.state == v1.UNIT_STATE_FIT, unit

    def a_refused_call_says_what_is_wrong(self) -> None:
        site = data.sites(self.v1)["school"]
        site["display_name"] = ""
        site["location"] = {"latitude": 95.0, "longitude": 0.0}
        request = self.v1.CreateSiteRequest(parent=data.BRANCH, site_id="faulty", site=site, request_id=new_id())
        try:
            self.sites.CreateSite(request)
            raise AssertionError("a faulty site was taken")
        except grpc.RpcError as refusal:
            error = refusal
        assert error.code() == grpc.StatusCode.INVALID_ARGUMENT, error
        assert "grpc-status-details-bin" in {entry.key for entry in error.trailing_metadata()}, error
        status = rpc_status.from_call(error)
        blamed, reasons = {}, []
        for detail in status.details:
            if detail.Is(error_details_pb2.BadRequest.DESCRIPTOR):
                request_details = error_details_pb2.BadRequest()
                detail.Unpack(request_details)
                blamed = {fault.field: fault for fault in request_details.field_violations}
            if detail.Is(error_details_pb2.ErrorInfo.DESCRIPTOR):
                info = error_details_pb2.ErrorInfo()
                detail.Unpack(info)
                reasons.append(info.reason)
        assert set(blamed) == {"site.display_name", "site.location.latitude"}, blamed
        assert all(fault.description for fault in blamed.values()), blamed
        assert reasons, status

    def a_browser_can_call(self) -> None:
        # One empty message in a frame: no flags, length 0 (gRPC-Web protocol).
        connection = HTTPConnection(self.server.address, timeout=30)
        connection.request(
            "POST",
            "/forenoon.v1.BranchService/ListBranches",
            body=b"\x00" + (0).to_bytes(4, "big"),
            headers={"content-type": "application/grpc-web+proto", "x-grpc-web": "1"},
        )
        answer = connection.getresponse()
        body = answer.read()
        assert answer.status == 200, answer.status
        length = int.from_bytes(body[1:5], "big")
        listed = self.v1.ListBranchesResponse.FromString(body[5 : 5 + length])
        assert [branch.name for branch in listed.branches] == [data.BRANCH], listed
        assert b"grpc-status:0" in body[5 + length :], body
        connection.close()

    def the_server_ends_when_told(self) -> None:
        self.channel.close()
        assert self.server.end() == 0, self.server.log.read_text()

    STEPS = (
        health_says_serving,
        reflection_lists_every_service,
        reflection_tells_the_contract,
        a_branch_is_created,
        records_are_created,
        the_day_is_planned,
        the_plan_is_published,
        the_crew_gets_its_sheet,
        a_unit_is_tagged_out,
        the_day_is_planned_again,
        the_mechanic_brings_it_back,
        a_refused_call_says_what_is_wrong,
        a_browser_can_call,
        the_server_ends_when_told,
    )

    def run(self) -> int:
        """Runs the steps; answers with how many passed."""
        for passed, step in enumerate(self.STEPS):
            words = step.__name__.replace("_", " ")
            try:
                step(self)
            except Exception:
                traceback.print_exc()
                print(f"FAILED  {words}\n{self.server.log.read_text()}")
                return passed
            print(f"ok  {words}")
        return len(self.STEPS)


def main() -> int:
    with tempfile.TemporaryDirectory(prefix="forenoon-") as name:
        folder = Path(name)
        generated = folder / "generated"
        generated.mkdir()
        contract.generate(generated)
        v1 = contract.Contract()
        with Server(folder) as server, grpc.insecure_channel(server.address) as channel:
            passed = MainJob(v1, server, channel).run()
    failed = 0 if passed == len(MainJob.STEPS) else 1
    left_out = len(MainJob.STEPS) - passed - failed
    print(f"\nPython: {passed} passed, {failed} failed" + (f", {left_out} skipped" if left_out else ""))
    return failed


if __name__ == "__main__":
    sys.exit(main())
