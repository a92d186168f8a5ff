"""ICAR animal data exchange: exports against its schemas, round trips, and foreign files."""
import json
import os
import shutil
import subprocess
import unittest

import cli
import tap

HERE = os.path.dirname(os.path.abspath(__file__))
SHARED = os.path.join(HERE, "../../../shared")
SCHEMAS = os.path.join(SHARED, "icar-schemas")
DELTA = os.path.join(SHARED, "icar-schemas-1.5-delta")
MODULES = os.path.join(cli.BUILD, "icar-node")
LOCATION = "org.example.holding:HOLDING-0042"
ROOTS = {"animals": "icarAnimalCore", "arrivals": "icarMovementArrivalEvent",
         "departures": "icarMovementDepartureEvent", "births": "icarMovementBirthEvent",
         "deaths": "icarMovementDeathEvent", "session": "icarAnimalSet"}

REGISTER = (
    "animal,species,breed,sex,castrated,born,dam,sire,mob,status,status_date,form,place,colour,"
    "official,eid,visual,applied,removed,why,uid\n"
    'A1,goat,"boer, red",doe,,2020-03-28,A9,,does,on-farm,,flag tag,left ear,yellow,yes,'
    "999000000000001,0001,2024-04-01,,,\n"
    "A1,,,,,,,,,,,bolus,rumen,,no,999000000000101,,2024-05-01,2025-05-01,lost,\n"
    "A2,sheep,,wether,,2024,A1,,wethers,sold,2026-02-03,loop tag,right ear,grün,yes,"
    "999000000000002,0002,,,,\n"
    "A3,goat,,buck,,2024-03,,,bucks,dead,2026-01,tattoo,right ear,,yes,,XK 17,,,,\n"
    "A4,goat,,doe,yes,2025-03-04,A1,A3,does,dead,2026-01-02,flag tag,,,yes,999000000000004,,,,,\n"
    "A5,goat,,doe,,2025-03-04,A1,A3,does,slaughtered,2026-01-02,flag tag,,,yes,999000000000005,"
    "0005,,,,\n"
    "A6,goat,,,,2025-03-04,A1,A3,does,lost,2026-01-02,flag tag,,,no,036000000098765,0006,,,,\n"
    "A7,,,,,,,,,,,flag tag,,,yes,999000000000007,0007,,,,\n"
    "A8,goat,,,,,,,,,,,,,,,,,,,\n"
    "A9,goat,,doe,,2016,,,,on-farm,,leg band,,,no,,9,,,,04A1B2C3\n")


class Icar(cli.CliTest):
    def filled(self, db=None):
        more = ["--db", db] if db else []
        self.good("init", *more)
        self.write("r.csv", REGISTER)
        self.good("import", *more, "r.csv")

    def export(self, what, *more, exit_code=None):
        """Write WHAT.json; its members and what was said."""
        done = self.run_("export", "--format", "icar", "--what", what, "--location", LOCATION,
                         "-o", f"{what}.json", "--overwrite", *more)
        if exit_code is not None:
            self.assertEqual(done.returncode, exit_code, done.stderr)
        self.assertIn(done.returncode, (0, 1), done.stderr)
        return json.loads(self.text(f"{what}.json"))["member"], done.stderr

    def take(self, doc, *more, exit_code=0):
        self.write("in.json", json.dumps(doc))
        return self.good("import", "--format", "icar", "in.json", *more, exit_code=exit_code)

    def refused(self, doc, *parts, db=None):
        before = self.good("export")
        self.write("in.json", doc if isinstance(doc, (str, bytes)) else json.dumps(doc))
        said = self.bad("import", "--format", "icar", "in.json")
        for part in parts:
            self.assertIn(part, said)
        self.assertEqual(self.good("export"), before)
        return said

    def session(self):
        """A session in the journal, by way of import: a known code, an unknown one, a number."""
        self.take({"resourceType": "icarAnimalSetResource", "id": "7", "purpose": "Session",
                   "meta": {"source": "org.example.race", "modified": "2026-09-14T08:00:00Z",
                            "created": "2026-09-14T07:00:00Z"},
                   "member": [{"scheme": "std.iso.11785", "id": "999000000000001"},
                              {"scheme": "std.iso.11785", "id": "999000000777777"},
                              {"scheme": "org.example.race.visual", "id": "0005"},
                              {"scheme": "org.example.race.visual", "id": "nobody 3"}]})

    def animal(self, code, **more):
        return dict({"resourceType": "icarAnimalCoreResource", "specie": "Goat",
                     "gender": "Female",
                     "identifier": {"scheme": "std.iso.11785", "id": code}}, **more)


class Export(Icar):
    def test_animals(self):
        self.filled()
        members, said = self.export("animals", exit_code=1)
        by_key = {m["meta"]["sourceId"]: m for m in members}
        self.assertEqual(sorted(by_key), ["A1", "A2", "A3", "A4", "A5", "A6", "A8", "A9"])
        a = by_key["A1"]
        self.assertEqual(a["identifier"], {"scheme": "std.iso.11785", "id": "999000000000001"})
        self.assertIn({"scheme": "local.lugmark.visual", "id": "0001"}, a["alternativeIdentifiers"])
        self.assertNotIn("999000000000101", json.dumps(members))
        self.assertEqual([a["specie"], a["gender"], a["birthDate"], a["status"]],
                         ["Goat", "Female", "2020-03-28T00:00:00Z", "Alive"])
        self.assertEqual(a["location"], {"scheme": "org.example.holding", "id": "HOLDING-0042"})
        self.assertEqual([by_key[k]["gender"] for k in ("A2", "A4", "A6")],
                         ["MaleNeuter", "FemaleNeuter", "Unknown"])
        self.assertEqual([by_key[k]["status"] for k in ("A2", "A3", "A5", "A6")],
                         ["OffFarm", "Dead", "Dead", "Unknown"])
        self.assertEqual(by_key["A3"]["identifier"],
                         {"scheme": "local.lugmark.tattoo", "id": "XK 17"})
        self.assertEqual(by_key["A8"]["identifier"], {"scheme": "local.lugmark.animal", "id": "A8"})
        self.assertEqual(by_key["A6"]["identifier"]["id"], "036000000098765")
        for key in ("A2", "A3", "A9"):
            self.assertNotIn("birthDate", by_key[key])
        self.assertEqual([p["identifier"]["id"] for p in by_key["A4"]["parentage"]],
                         ["999000000000001", "XK 17"])
        for part in ("3 birth dates of which the day is not known", "1 devices removed",
                     "left out whole: 1 animals of no species", "6 mobs"):
            self.assertIn(part, said)

    def test_events(self):
        self.filled()
        members, _ = self.export("departures", exit_code=0)
        self.assertEqual([(m["animal"]["id"], m["departureKind"], m["eventDateTime"])
                          for m in members],
                         [("999000000000002", "Sale", "2026-02-03T00:00:00Z")])
        members, said = self.export("deaths", exit_code=1)
        self.assertEqual([(m["animal"]["id"], m["deathReason"], m.get("deathMethod"))
                          for m in members],
                         [("999000000000004", "Unknown", None),
                          ("999000000000005", "Consumption", "Slaughter"),
                          ("036000000098765", "Missing", "Lost")])
        self.assertIn("left out whole: 1 deaths and losses of which the day is not known", said)
        members, said = self.export("births", exit_code=1)
        self.assertEqual([m["animal"]["id"] for m in members],
                         ["999000000000001", "999000000000004", "999000000000005",
                          "036000000098765"])
        self.assertEqual(members[1]["animalDetail"]["parentage"][0]["identifier"]["id"],
                         "999000000000001")
        self.assertIn("left out whole: 2 births of animals whose dam is not in the register", said)
        self.assertEqual(self.export("arrivals", exit_code=0)[0], [])
        self.good("edit", "A2", "--status", "on-farm")  # a correction: it never left
        self.good("undo", "--register")
        self.good("edit", "A2", "--status", "on-farm", "--status-date", "2026-03-01")
        self.good("buy", "--animal", "B1", "--species", "goat", "--visual", "B1", "--from", "Hill",
                  "--date", "2026-03-02")
        self.good("buy", "--animal", "B2", "--visual", "B2", "--transfer", "--date", "2026-03-03")
        self.good("buy", "--animal", "B3", "--visual", "B3", "--date", "2026-03-04")
        self.good("undo", "--register")
        members, _ = self.export("arrivals", exit_code=0)
        self.assertEqual([(m["animal"]["id"], m["arrivalReason"], m["eventDateTime"][:10],
                           "animalDetail" in m) for m in members],
                         [("999000000000002", "SaleReturn", "2026-03-01", True),
                          ("B1", "Purchase", "2026-03-02", True),
                          ("B2", "InternalTransfer", "2026-03-03", False)])
        other = ["--db", "other.db"]
        self.good("init", *other)
        self.good("import", "--format", "icar", "arrivals.json", *other)
        said = self.good("statement", "--from", "2026-01-01", "--to", "2026-04-01", *other)
        self.assertIn("+ bought                   1", said)
        self.assertIn("+ moved-in                 2", said)

    def test_source_ids_stay_the_same(self):
        self.filled()
        for what in ("animals", "departures", "births", "deaths"):
            first, _ = self.export(what)
            ids = [m["meta"]["sourceId"] for m in first]
            self.assertEqual(len(set(ids)), len(ids))
            self.good("edit", "A1", "--mob", f"m-{what}")
            again, _ = self.export(what)
            self.assertEqual([m["meta"]["sourceId"] for m in again], ids)

    def test_session(self):
        self.filled()
        self.assertIn("no such session", self.bad("export", "--format", "icar", "--what", "session",
                                                  "--location", LOCATION))
        self.session()
        members, _ = self.export("session", exit_code=0)
        self.assertEqual(members[0]["purpose"], "Session")
        self.assertEqual(members[0]["meta"]["created"], "2026-09-14T07:00:00.000Z")
        self.assertEqual([m["id"] for m in members[0]["member"]],
                         ["999000000000001", "999000000777777", "999000000000005", "nobody 3"])

    def test_location_and_source(self):
        self.filled()
        ask = ["export", "--format", "icar", "--what", "animals"]
        self.assertIn("--location SCHEME:ID", self.bad(*ask))
        for bad in ("nothing", ":x", "x:", "a b:\x01"):
            self.bad(*ask, "--location", bad, exit_code=2)
        for bad in ("", "two words"):
            self.bad(*ask, "--location", LOCATION, "--source", bad, exit_code=2)
        self.bad("export", "--format", "icar", exit_code=2)
        self.bad(*ask[:3], "--what", "animal", exit_code=2)
        self.bad(*ask, "--session", "1", exit_code=2)
        out = json.loads(self.good(*ask, "--location", "urn:example:holding:12", "--source",
                                   "org.example.farm", exit_code=1))["member"][0]
        self.assertEqual(out["location"], {"scheme": "urn:example:holding", "id": "12"})
        self.assertEqual(out["meta"]["source"], "org.example.farm")
        self.assertIn({"scheme": "org.example.farm.animal", "id": "A1"},
                      out["alternativeIdentifiers"])
        self.good("init", "--db", "h.db", "--holding", "0042")
        self.good("add", "--db", "h.db", "--visual", "1", "--species", "goat")
        out = json.loads(self.good(*ask, "--db", "h.db"))["member"][0]
        self.assertEqual(out["location"], {"scheme": "local.lugmark.holding", "id": "0042"})


class Schemas(Icar):
    def validator(self):
        """Folder with node_modules, or skip and say why."""
        if not os.path.isdir(SCHEMAS):
            raise unittest.SkipTest("no ICAR schemas beside the repository (../shared/icar-schemas)")
        if shutil.which("node") is None or shutil.which("npm") is None:
            raise unittest.SkipTest("no node or npm")
        if not os.path.isdir(os.path.join(MODULES, "node_modules/ajv-formats")):
            os.makedirs(MODULES, exist_ok=True)
            try:
                got = subprocess.run(["npm", "install", "--silent", "--no-audit", "--no-fund",
                                      "--prefix", MODULES, "ajv@8", "ajv-formats@3"],
                                     cwd=MODULES, capture_output=True, timeout=120, check=False)
            except subprocess.TimeoutExpired:
                raise unittest.SkipTest("npm cannot get ajv and ajv-formats in time") from None
            if got.returncode != 0:
                raise unittest.SkipTest("npm cannot get ajv and ajv-formats")
        return MODULES

    def check(self, delta, documents):
        """Answers of the validator, one a document, as (valid, errors)."""
        argv = ["node", os.path.join(HERE, "validate.mjs"), self.validator(), SCHEMAS, delta]
        for what, file in documents:
            argv += [f"collections/{ROOTS[what]}Collection.json", self.path(file)]
        done = subprocess.run(argv, capture_output=True, timeout=120, check=False)
        self.assertIn(done.returncode, (0, 1), done.stderr.decode())
        answers = [json.loads(line) for line in done.stdout.decode().splitlines()]
        self.assertEqual(len(answers), len(documents), done.stderr.decode())
        return [(a["valid"], a["errors"]) for a in answers]

    def all_exports(self):
        self.filled()
        self.session()
        self.good("edit", "A2", "--status", "on-farm", "--status-date", "2026-03-01")
        self.good("buy", "--animal", "B1", "--species", "goat", "--visual", "B1")
        for what in ROOTS:
            self.assertTrue(self.export(what)[0] or what == "departures", what)
        self.good("edit", "A2", "--status", "sold", "--status-date", "2026-04-01")
        self.assertTrue(self.export("departures")[0])
        return [(what, f"{what}.json") for what in ROOTS]

    def test_every_export_is_valid_in_1_4_1(self):
        for valid, errors in self.check("-", self.all_exports()):
            self.assertTrue(valid, errors)

    def test_every_export_is_valid_in_1_5(self):
        if not os.path.isdir(DELTA):
            raise unittest.SkipTest("no 1.5 schemas beside the repository")
        for valid, errors in self.check(DELTA, self.all_exports()):
            self.assertTrue(valid, errors)

    def test_the_validator_refuses_what_is_wrong(self):
        self.filled()
        self.export("animals")
        for spoil in (lambda a: a.update(gender="female"), lambda a: a.pop("specie"),
                      lambda a: a.update(birthDate="2025-03-28"),
                      lambda a: a["identifier"].update(id=999000000000001),
                      lambda a: a["meta"].update(created=None)):
            doc = json.loads(self.text("animals.json"))
            spoil(doc["member"][0])
            self.write("bad.json", json.dumps(doc))
            self.assertFalse(self.check("-", [("animals", "bad.json")])[0][0])


class Import(Icar):
    # what the ICAR form holds of an animal
    KEPT = ("sex", "castrated", "species", "dam", "sire")

    def test_round_trip_into_an_empty_register(self):
        self.filled()
        for m in self.export("animals")[0]:
            self.assertNotIn(None, m.values())
        self.good("init", "--db", "b.db")
        self.good("import", "--db", "b.db", "--format", "icar", "animals.json")
        # the keys, codes and numbers are there again, and so is the export
        was = self.text("animals.json")
        self.export("animals", "--db", "b.db", exit_code=0)
        cut = [[{k: v for k, v in m.items() if k != "meta"}
                for m in json.loads(t)["member"]] for t in (was, self.text("animals.json"))]
        for member in cut[0] + cut[1]:
            member.get("alternativeIdentifiers", []).sort(key=json.dumps)
        self.assertEqual(cut[0], cut[1])
        for event in ("departures", "deaths"):
            first, _ = self.export(event)
            self.good("import", "--db", "b.db", "--format", "icar", f"{event}.json")
            again, _ = self.export(event, "--db", "b.db")
            for m in first + again:
                del m["meta"]["modified"]
            self.assertEqual(first, again)

    def test_into_the_same_register_nothing_changes(self):
        self.filled()
        before = self.good("export")
        for what in ("animals", "departures", "births", "deaths"):
            members, _ = self.export(what)
            out = self.json("import", "--format", "icar", f"{what}.json")
            self.assertEqual([out["animals"], out["devices"], out["unchanged"]],
                             [0, 0, len(members)], what)
        self.assertEqual(self.good("export"), before)

    def test_births_bring_animal_dam_and_day(self):
        self.filled()
        self.export("births")
        self.good("init", "--db", "b.db")
        self.good("import", "--db", "b.db", "--format", "icar", "births.json")
        out = self.good("export", "--db", "b.db")
        self.assertIn("A4,goat,,female,2025-03-04,A1,XK 17,", out)

    def test_session_round_trip(self):
        self.filled()
        self.session()
        first, _ = self.export("session")
        self.good("init", "--db", "b.db")
        self.good("import", "--db", "b.db", "--format", "icar", "session.json")
        said = self.bad("import", "--db", "b.db", "--format", "icar", "session.json")
        self.assertIn("there is a session", said)
        again, _ = self.export("session", "--db", "b.db")
        self.assertEqual(first[0]["member"], again[0]["member"])
        self.assertEqual(first[0]["meta"]["created"], again[0]["meta"]["created"])

    def test_foreign_animals(self):
        self.good("init")
        out = self.take({"view": {"totalPages": 2}, "member": [
            self.animal("999000000000031", birthDate="2025-03-28T00:00:00+02:00", madeUp={"a": [1]},
                        gender="MaleCryptorchid", status="Quarantined", officialName="X",
                        alternativeIdentifiers=[{"scheme": "xx.example.eartag", "id": "EX 0031"}],
                        primaryBreed={"scheme": "icar.breed-2", "id": "AB"}),
            self.animal("036000000098765", gender="Sideways", specie="Goat",
                        parentage=[{"parentOf": {"scheme": "std.iso.11785",
                                                 "id": "036000000098765"},
                                    "gender": "Female", "relation": "Genetic",
                                    "identifier": {"scheme": "std.iso.11785",
                                                   "id": "999000000000031"}}])]})
        self.assertEqual(out, "2 animals new or changed, 3 devices new, 0 animals as they were\n")
        csv = self.good("export")
        self.assertIn("EX 0031,goat,AB,male,2025-03-28,", csv)
        self.assertIn("036000000098765,goat,,,,EX 0031,", csv)
        said = self.run_("import", "--format", "icar", "in.json").stderr
        for part in ("status Quarantined, not used", "gender Sideways, not used", "MaleCryptorchid",
                     "scheme xx.example.eartag, taken as printed numbers", "one page of several"):
            self.assertIn(part, said)

    def test_what_the_file_does_not_say_stays(self):
        self.filled()
        self.take({"member": [self.animal("999000000000001", alternativeIdentifiers=[
            {"scheme": "std.iso.11785", "id": "999000000000111"}])]})
        out = self.good("export")
        self.assertIn('A1,goat,"boer, red",female,2020-03-28,A9,,does,on-farm,flag tag,left ear,'
                      "yellow,1,999000000000001,0001,2024-04-01,", out)
        self.assertIn("999000000000111", out)
        self.assertIn("999000000000101", out)

    def test_a_key_that_another_animal_has_here(self):
        self.filled()
        self.take({"member": [self.animal("999000000000099", meta={"source": "local.lugmark",
                   "modified": "2026-01-01T00:00:00Z"}, alternativeIdentifiers=[
                       {"scheme": "local.lugmark.animal", "id": "A1"},
                       {"scheme": "local.lugmark.visual", "id": "0099"}])]})
        out = self.good("export")
        self.assertIn("\n0099,goat,", out)
        self.assertNotIn("A1,goat,\"boer, red\",female,2020-03-28,A9,,does,on-farm,,,,1,9990000000"
                         "00099", out)

    def test_all_problems_are_told_with_their_place_and_nothing_is_taken(self):
        self.filled()
        self.refused({"member": [
            self.animal("999000000000301"), self.animal(999000000000302),
            self.animal("9.99E+14"), self.animal("999999999999999"),
            self.animal("999000000000303", birthDate="28/03/2025"),
            self.animal("999000000000304", specie=4), {"a": 1}, 5,
            self.animal("999000000000305", alternativeIdentifiers={}),
            self.animal("999000000000301"), self.animal("999000000000306", identifier=None),
            {"resourceType": "icarMilkingVisitEventResource"},
            self.animal("999000000000307", alternativeIdentifiers=[{"scheme": "x"}])]},
            "in.json: /member/1/identifier/id: a number where there must be text",
            "/member/2/identifier/id: ", "/member/3/identifier/id: ",
            "/member/4/birthDate: not a date and time: 28/03/2025", "/member/5/specie: ",
            "/member/6: has no resourceType", "/member/7: must be an object",
            "/member/8/alternativeIdentifiers: must be a list",
            "/member/9: the same animal as at /member/0", "/member/10/identifier: ",
            "/member/11: cannot take a icarMilkingVisit", "/member/12/alternativeIdentifiers/0: ",
            "nothing was imported")

    def test_events_of_animals_that_are_not_here(self):
        self.filled()
        event = {"resourceType": "icarMovementDeathEventResource",
                 "animal": {"scheme": "std.iso.11785", "id": "999000000000444"}}
        self.refused(dict(event, eventDateTime="2026-01-01T00:00:00Z"),
                     "/animal: 999000000000444 is not in the register", "import the animals first")
        self.refused(event, "has no eventDateTime")
        self.refused(dict(event, eventDateTime="2026-02-30T00:00:00Z"), "/eventDateTime: not a date")

    def test_kinds_and_reasons(self):
        self.filled()
        code = {"scheme": "std.iso.11785", "id": "999000000000001"}
        for type_, more, want in (
                ("Departure", {"departureKind": "Slaughter"}, "slaughtered"),
                ("Departure", {"departureKind": "Show"}, "sold"),
                ("Arrival", {"arrivalReason": "ShowReturn"}, "on-farm"),
                ("Death", {"deathMethod": "Slaughter"}, "slaughtered"),
                ("Death", {"deathReason": "Missing"}, "lost"),
                ("Death", {"deathMethod": "Theft"}, "lost"),
                ("Death", {"deathReason": "Disease", "deathMethod": "Perished"}, "dead"),
                ("Departure", {"departureKind": "Sale"}, "sold")):
            self.take(dict({"resourceType": f"icarMovement{type_}EventResource", "animal": code,
                            "eventDateTime": "2026-05-06T07:08:09Z"}, **more))
            self.assertIn(f",does,{want},", self.good("export").splitlines()[1], (type_, more))
            self.assertIn("2026-05-06", self.good("export").splitlines()[1])

    def test_an_arrival_may_be_a_new_animal(self):
        self.good("init")
        self.take([{"resourceType": "icarMovementArrivalEventResource",
                    "animal": {"scheme": "std.iso.11785", "id": "999000000000055"},
                    "eventDateTime": "2026-05-06T00:00:00Z", "arrivalReason": "Purchase"}])
        self.assertIn("999000000000055,,,,,,,,on-farm,", self.good("export"))

    def test_deleted_and_other_sets_are_left_out_and_said(self):
        self.filled()
        gone = self.animal("999000000000066", meta={"source": "x", "isDeleted": True,
                                                    "modified": "2026-01-01T00:00:00Z"})
        self.take({"member": [gone]}, exit_code=1)
        self.take({"resourceType": "icarAnimalSetResource", "id": "1", "purpose": "Feeding",
                   "member": []}, exit_code=1)
        self.assertNotIn("999000000000066", self.good("export"))

    def test_no_json_and_odd_shapes(self):
        self.good("init")
        for doc in ("", "{", "[1,]", "nothing", b"\xff\xfe{", '{"a":1,"a":2}', "[" * 5000,
                    '{"member":[{"resourceType":"icarAnimalCoreResource"', b"\0"):
            self.refused(doc, "not JSON")
        for doc in ("{}", '{"member":{}}', '{"member":5}', '{"x":[]}'):
            self.refused(doc, "neither a resource nor a list")
        self.take([])
        self.take({"member": []})
        self.bad("import", "--format", "icar", "none.json")
        self.assertIn("cannot be read", self.bad("import", "--format", "icar", "."))

    def test_what_cannot_be_is_refused_as_in_csv(self):
        self.filled()
        code = {name: f"99900000000100{name}" for name in range(1, 5)}

        def of(kid, dam, gender="Female"):
            return {"parentage": [{"parentOf": {"scheme": "std.iso.11785", "id": code[kid]},
                                   "gender": gender, "relation": "Genetic",
                                   "identifier": {"scheme": "std.iso.11785", "id": code[dam]}}]}
        self.refused({"member": [self.animal(code[1], **of(1, 2)), self.animal(code[2], **of(2, 1))]},
                     "/member/0", "its own forebear")
        self.refused({"member": [self.animal(code[1], **of(1, 1, "Male"))]}, "its own forebear")
        self.refused({"member": [self.animal(code[1], birthDate="2024-01-01T00:00:00Z", **of(1, 2)),
                                 self.animal(code[2], birthDate="2025-01-01T00:00:00Z")]},
                     "/member/0", "born 2024-01-01, cannot be of", "born 2025-01-01")
        self.refused({"member": [self.animal(code[1], birthDate="2999-01-01T00:00:00Z")]},
                     "/member/0/birthDate", "lies in the future")
        self.take({"member": [self.animal(code[3], birthDate="2024-01-01T00:00:00Z")]})
        gone = {"resourceType": "icarMovementDepartureEventResource", "departureKind": "Sale",
                "animal": {"scheme": "std.iso.11785", "id": code[3]}}
        self.refused(dict(gone, eventDateTime="2999-01-01T00:00:00Z"), "lies in the future")
        self.refused(dict(gone, eventDateTime="2023-01-01T00:00:00Z"), "born 2024-01-01",
                     "sold since 2023-01-01")
        # against an animal that only the register has
        self.refused({"member": [self.animal(code[4], birthDate="2023-01-01T00:00:00Z", **{
            "parentage": of(4, 3)["parentage"]})]}, "cannot be of")

    def test_one_file_is_one_change_and_may_come_again(self):
        before = self.good("init") and self.good("export")
        doc = {"member": [self.animal("999000000001001"), self.animal("999000000001002")]}
        self.take(doc)
        after = self.good("export")
        self.assertIn("of 2 animals", self.good("undo", "--register"))
        self.assertEqual(self.good("export"), before)
        self.take(doc)
        self.assertEqual(self.good("export"), after)

    def test_identifiers_that_belong_to_others(self):
        self.filled()
        code = {"scheme": "std.iso.11785"}
        two = self.animal("999000000000001", alternativeIdentifiers=[
            dict(code, id="999000000000005")])
        self.refused({"member": [two]}, "belong to more than one animal of the register")
        self.good("add", "--animal", "999000000000820", "--species", "goat", "--eid",
                  "999000000000821")
        self.refused({"member": [self.animal("999000000000820")]},
                     "all its identifiers are names of other animals")

    def test_sets_with_odd_members(self):
        self.filled()
        a_set = {"resourceType": "icarAnimalSetResource", "id": "8", "purpose": "Session",
                 "meta": {"source": "org.example.race", "modified": "2026-09-14T08:00:00Z",
                          "created": "2026-09-14T07:00:00Z"},
                 "member": [{"scheme": "std.iso.11785", "id": "999000000000001"},
                            {"scheme": "org.example.race.animal", "id": "A5"}]}
        self.refused({"member": [dict(a_set, id="8" * 90)]}, "longer than 63 bytes together")
        said = self.run_("import", "--format", "icar", self.write("in.json", json.dumps(a_set)))
        self.assertIn("1 members named only by the sender's own key", said.stdout + said.stderr)

    def test_who_came_back(self):
        self.filled()
        self.good("found", "A6", "--date", "2026-02-01")
        self.good("edit", "A2", "--status", "on-farm", "--status-date", "2026-03-01", "--why",
                  "bought")
        arrivals, said = self.export("arrivals")
        self.assertEqual([(m["animal"]["id"], m["arrivalReason"], m["eventDateTime"][:10])
                          for m in arrivals],
                         [("999000000000002", "Purchase", "2026-03-01")])
        self.assertIn("1 lost animals that were found again: no movement", said)
        self.write("n.csv", "animal,species,sex,eid\nN1,goat,doe,999000000000830\n")
        self.good("buy", "--list", "n.csv", "--date", "2026-03-02")
        self.assertIn("999000000000830", json.dumps(self.export("arrivals")[0]))
        self.good("undo", "--register")  # it never came
        self.assertNotIn("999000000000830", json.dumps(self.export("arrivals")[0]))
        self.good("buy", "--list", "n.csv", "--date", "2026-03-04")
        self.assertEqual([(m["arrivalReason"], m["eventDateTime"][:10])
                          for m in self.export("arrivals")[0]
                          if m["animal"]["id"] == "999000000000830"],
                         [("Purchase", "2026-03-04")])

    def test_dry_run(self):
        self.good("init")
        self.assertIn("--dry-run", self.take({"member": [self.animal("999000000000001")]}, "-n"))
        self.assertEqual(len(self.good("export").splitlines()), 1)


if __name__ == "__main__":
    tap.main()
