"""A college for load: instruments with an agent and a student's turn each, in a fresh gateway."""
import json
import time

import daemon

INSTRUMENTS = 32
MINUTE = 60 * 1000000


class College:
    def __init__(self, gateway):
        self.gateway = gateway
        self.command("POST", "/courses", {"code": "BENCH 1", "title": "Speed"})
        self.command("POST", "/sections", {"course": "BENCH 1", "section": "1", "place": "Lab"})
        self.command("POST", "/experiments", {"course": "BENCH 1", "code": "E1", "title": "Film",
                                              "expected": 50, "samples": ["unknown"]})
        rows = "".join("%d,First%d,Family%d,login%d,\n" % (i, i, i, i) for i in range(INSTRUMENTS))
        self.command("POST", "/roster", {"course": "BENCH 1", "section": "1", "dry_run": False,
                                         "csv": "number,given,family,login,email\n" + rows})
        course = self.command("GET", "/courses")["courses"][0]
        section, experiment = course["sections"][0]["id"], course["experiments"][0]["id"]
        people = self.command("GET", "/people?q=login")["people"]
        self.now = time.time_ns() // 1000
        self.tokens = []
        for index in range(INSTRUMENTS):
            made = self.command("POST", "/instruments", {"name": "IR-%d" % index, "place": "Lab/%d" % index})
            self.tokens.append(self.join(made["join"].split("#")[1].split(":")[0]))
            self.command("POST", "/turns", {
                "instrument": made["instrument"]["id"], "persons": [people[index % len(people)]["id"]],
                "section": section, "experiment": experiment, "sample": "unknown",
                "from_us": self.now - 100 * MINUTE, "to_us": self.now - 10 * MINUTE})

    def command(self, method, path, body=None):
        status, answer = self.gateway.control(method, "/api/v1" + path, body)
        if status not in (200, 201, 204):
            raise SystemExit("%s: %s %s" % (path, status, answer))
        return answer

    def join(self, code):
        connection = self.gateway.http()
        connection.request("POST", "/api/v1/agents/join", json.dumps(
            {"code": code, "version": "0.1.0", "platform": "linux", "time_us": 0}),
            {"Content-Type": "application/json"})
        answer = connection.getresponse()
        text = answer.read()
        connection.close()
        if answer.status != 201:
            raise SystemExit("an agent could not join: %s" % text)
        return json.loads(text)["token"]

    def fields(self, index, digest):
        """What the agent says of capture `index`: saved within its turn, a quarter of an hour in."""
        saved = self.now - 85 * MINUTE + index * 1000
        return {"Authorization": "Bearer " + self.tokens[index % INSTRUMENTS], "Content-Digest": digest,
                "Wavepost-Capture": daemon.capture_field(index + 1, path="IR/%d.jdx" % index, mtime_us=saved,
                                                         captured_us=saved + 400000)}
