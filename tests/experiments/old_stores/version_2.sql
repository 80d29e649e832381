-- A store of version 2, as its release wrote it through the acts of the ledger.
BEGIN TRANSACTION;
CREATE TABLE cones (
        id INTEGER PRIMARY KEY CHECK (id > 0),
        status TEXT NOT NULL
            CHECK (status IN ('planned', 'printed', 'measured', 'failed', 'set aside')),
        plate INTEGER CHECK (plate > 0),
        origin TEXT NOT NULL CHECK (origin IN ('proposed', 'added', 'imported')),
        proposal INTEGER REFERENCES proposals (id),
        reason TEXT NOT NULL DEFAULT '',
        mass_g REAL, minutes REAL,
        failure TEXT NOT NULL DEFAULT '', aside TEXT NOT NULL DEFAULT '',
        note TEXT NOT NULL DEFAULT '',
        planned_at TEXT, printed_at TEXT,
        version INTEGER NOT NULL);
INSERT INTO "cones" VALUES(1,'measured',1,'proposed',NULL,'',2.35,41.0,'','','','2031-03-05T09:02:00+00:00','2031-03-05T09:03:00+00:00',6);
INSERT INTO "cones" VALUES(2,'planned',1,'proposed',NULL,'',NULL,NULL,'','','','2031-03-05T09:02:00+00:00',NULL,2);
CREATE TABLE curves (
        id INTEGER PRIMARY KEY, measurement INTEGER NOT NULL REFERENCES measurements (id),
        name TEXT NOT NULL, kind TEXT NOT NULL,
        sha256 TEXT NOT NULL REFERENCES files (sha256), options TEXT NOT NULL DEFAULT '{}');
INSERT INTO "curves" VALUES(1,1,'r.txt','response','ba569d8b4836db1675755736df45e93d346be290399ab11b8496d31d97dbffc7','{}');
CREATE TABLE files (
        sha256 TEXT PRIMARY KEY CHECK (length(sha256) = 64), content BLOB NOT NULL);
INSERT INTO "files" VALUES('ba569d8b4836db1675755736df45e93d346be290399ab11b8496d31d97dbffc7',X'32302038300A32303030302036300A');
CREATE TABLE history (
        id INTEGER PRIMARY KEY, at TEXT NOT NULL, who TEXT NOT NULL, act TEXT NOT NULL,
        summary TEXT NOT NULL, arguments TEXT NOT NULL, changes TEXT NOT NULL,
        undoes INTEGER UNIQUE REFERENCES history (id),
        plan TEXT REFERENCES plans (digest));
INSERT INTO "history" VALUES(1,'2031-03-05T09:01:00+00:00','maker','start','experiment ''window-sill radio'' started','{}','[]',NULL,'9db23020cd0d43dcb48bda35754bffbe7498891e022751af688091da45f07563');
INSERT INTO "history" VALUES(2,'2031-03-05T09:02:00+00:00','maker','plan','cones 1 and 2 planned','{"recipes": [{"process": "resin", "cure_time": 12, "wall": 0.4, "ribs": 3}, {"process": "filament", "wall": 0.6, "ribs": 0}], "plate": null, "reason": null, "proposal": null}','[["insert", "cones", 1, null], ["insert", "settings", 1, null], ["insert", "settings", 2, null], ["insert", "settings", 3, null], ["insert", "settings", 4, null], ["insert", "cones", 2, null], ["insert", "settings", 5, null], ["insert", "settings", 6, null], ["insert", "settings", 7, null]]',NULL,'9db23020cd0d43dcb48bda35754bffbe7498891e022751af688091da45f07563');
INSERT INTO "history" VALUES(3,'2031-03-05T09:03:00+00:00','maker','printed','cone 1 printed','{"cone": 1, "mass": 2.35, "minutes": 41, "note": "", "changes": null}','[["update", "cones", 1, {"status": "planned", "printed_at": null, "version": 2, "mass_g": null, "minutes": null}]]',NULL,'9db23020cd0d43dcb48bda35754bffbe7498891e022751af688091da45f07563');
INSERT INTO "history" VALUES(4,'2031-03-05T09:04:00+00:00','maker','measure','cone 1 measured in session first evening','{"cone": 1, "session": "first evening", "age_days": 2, "light_hours": 1.5, "note": "warm room", "files": [{"name": "r.txt", "kind": "response", "bytes": 15}], "values": {"upper_limit": 9.25, "thd_peak": null}}','[["insert", "sessions", 1, null], ["insert", "measurements", 1, null], ["insert", "readings", 1, null], ["insert", "readings", 2, null], ["insert", "curves", 1, null], ["update", "cones", 1, {"status": "printed", "version": 3}], ["update", "readings", 1, {"definition": null}]]',NULL,'9db23020cd0d43dcb48bda35754bffbe7498891e022751af688091da45f07563');
INSERT INTO "history" VALUES(5,'2031-03-05T09:05:00+00:00','maker','measure','cone 1 measured in session second evening','{"cone": 1, "session": "second evening", "age_days": 30, "light_hours": null, "note": "", "files": [], "values": {"upper_limit": 9.0, "mass": 2.3}}','[["insert", "sessions", 2, null], ["insert", "measurements", 2, null], ["insert", "readings", 3, null], ["insert", "readings", 4, null], ["update", "cones", 1, {"version": 4}], ["update", "readings", 3, {"definition": null}], ["update", "readings", 4, {"definition": null}]]',NULL,'9db23020cd0d43dcb48bda35754bffbe7498891e022751af688091da45f07563');
INSERT INTO "history" VALUES(6,'2031-03-05T09:06:00+00:00','maker','import','import of t.csv: 1 changed cell','{"file": "t.csv", "sha256": "6be973a40d2e6979a528d9b0036884c183dea8c2c7127c0e860c40f70b222f1f", "changes": [[3, 1, "light_hours", null, 40.0, false]]}','[["update", "measurements", 2, {"light_hours": null}], ["update", "cones", 1, {"version": 5}]]',NULL,'9db23020cd0d43dcb48bda35754bffbe7498891e022751af688091da45f07563');
INSERT INTO "history" VALUES(7,'2031-03-05T09:07:00+00:00','maker','measure','cone 1 measured in session third evening','{"cone": 1, "session": "third evening", "age_days": null, "light_hours": null, "note": "", "files": [], "values": {"upper_limit": 8.0}}','[["insert", "sessions", 3, null], ["insert", "measurements", 3, null], ["insert", "readings", 5, null], ["update", "cones", 1, {"version": 6}], ["update", "readings", 5, {"definition": null}]]',NULL,'9db23020cd0d43dcb48bda35754bffbe7498891e022751af688091da45f07563');
INSERT INTO "history" VALUES(8,'2031-03-05T09:08:00+00:00','maker','undo','undid: cone 1 measured in session third evening','{"act": 7}','[["update", "readings", 5, {"definition": "{\"measure\": \"upper_limit_hz\", \"unit\": \"kHz\"}"}], ["update", "cones", 1, {"version": 7}], ["delete", "readings", 5, {"id": 5, "measurement": 3, "metric": "upper_limit", "value": 8.0, "by_hand": 1, "definition": null}], ["delete", "measurements", 3, {"id": 3, "cone": 1, "session": 3, "at": "2031-03-05T09:07:00+00:00", "age_days": null, "light_hours": null, "note": "", "warnings": "[]"}], ["delete", "sessions", 3, {"id": 3, "name": "third evening", "at": "2031-03-05T09:07:00+00:00"}]]',7,'9db23020cd0d43dcb48bda35754bffbe7498891e022751af688091da45f07563');
CREATE TABLE measurements (
        id INTEGER PRIMARY KEY, cone INTEGER NOT NULL REFERENCES cones (id),
        session INTEGER NOT NULL REFERENCES sessions (id),
        at TEXT NOT NULL, age_days REAL, light_hours REAL,
        note TEXT NOT NULL DEFAULT '', warnings TEXT NOT NULL DEFAULT '[]');
INSERT INTO "measurements" VALUES(1,1,1,'2031-03-05T09:04:00+00:00',2.0,1.5,'warm room','[["remark", "no distortion file"]]');
INSERT INTO "measurements" VALUES(2,1,2,'2031-03-05T09:05:00+00:00',30.0,40.0,'','[]');
CREATE TABLE notes (
        id INTEGER PRIMARY KEY, at TEXT NOT NULL, cone INTEGER REFERENCES cones (id),
        text TEXT NOT NULL);
CREATE TABLE plans (
        digest TEXT PRIMARY KEY, text TEXT NOT NULL, first_seen TEXT NOT NULL) WITHOUT ROWID;
INSERT INTO "plans" VALUES('9db23020cd0d43dcb48bda35754bffbe7498891e022751af688091da45f07563','
name = "window-sill radio"
seed = 3

[variables.process]
kind = "choice"
levels = ["resin", "filament"]

[variables.cure_time]
kind = "continuous"
unit = "min"
low = 0
high = 40
step = 1
only_when = { process = ["resin"] }

[variables.wall]
kind = "continuous"
unit = "mm"
low = 0.2
high = 1.0
step = 0.1

[variables.ribs]
kind = "integer"
low = 0
high = 8

[metrics.upper_limit]
from = "response"
unit = "kHz"
goal = "maximise"
poor = 5.0
good = 14.0

[metrics.thd_peak]
from = "distortion"
goal = "minimise"
poor = 5.0
good = 0.5

[metrics.mass]
from = "hand"
unit = "g"

[sessions]
reference_cone = 1
','2031-03-05T09:01:00+00:00');
CREATE TABLE proposals (
        id INTEGER PRIMARY KEY, at TEXT NOT NULL, seed INTEGER, plan TEXT NOT NULL,
        details TEXT NOT NULL);
CREATE TABLE readings (
        id INTEGER PRIMARY KEY, measurement INTEGER NOT NULL REFERENCES measurements (id),
        metric TEXT NOT NULL, value REAL, by_hand INTEGER NOT NULL CHECK (by_hand IN (0, 1)), definition TEXT,
        UNIQUE (measurement, metric));
INSERT INTO "readings" VALUES(1,1,'upper_limit',9.25,0,'{"file": "response", "measure": "upper_limit_hz", "method": "d1c7bcde", "options": {"band": null, "drop_db": 10.0, "smooth": null}, "pinned": [], "unit": "kHz"}');
INSERT INTO "readings" VALUES(2,1,'thd_peak',NULL,0,NULL);
INSERT INTO "readings" VALUES(3,2,'upper_limit',9.0,1,'{"measure": "upper_limit_hz", "unit": "kHz"}');
INSERT INTO "readings" VALUES(4,2,'mass',2.3,1,'{"measure": "mass_g", "unit": "g"}');
CREATE TABLE sessions (
        id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE CHECK (name <> ''), at TEXT NOT NULL);
INSERT INTO "sessions" VALUES(1,'first evening','2031-03-05T09:04:00+00:00');
INSERT INTO "sessions" VALUES(2,'second evening','2031-03-05T09:05:00+00:00');
CREATE TABLE settings (
        id INTEGER PRIMARY KEY, cone INTEGER NOT NULL REFERENCES cones (id),
        variable TEXT NOT NULL,
        value NOT NULL CHECK (typeof(value) IN ('integer', 'real', 'text')),
        UNIQUE (cone, variable));
INSERT INTO "settings" VALUES(1,1,'process','resin');
INSERT INTO "settings" VALUES(2,1,'cure_time',12.0);
INSERT INTO "settings" VALUES(3,1,'wall',0.4);
INSERT INTO "settings" VALUES(4,1,'ribs',3);
INSERT INTO "settings" VALUES(5,2,'process','filament');
INSERT INTO "settings" VALUES(6,2,'wall',0.6);
INSERT INTO "settings" VALUES(7,2,'ribs',0);
CREATE INDEX settings_by_variable ON settings (variable);
CREATE INDEX measurements_by_cone ON measurements (cone);
CREATE INDEX readings_by_metric ON readings (metric);
CREATE INDEX curves_by_measurement ON curves (measurement);
CREATE INDEX curves_by_file ON curves (sha256);
CREATE TRIGGER history_no_update BEFORE UPDATE ON history
        BEGIN SELECT RAISE(ABORT, 'the table history is only ever added to'); END;
CREATE TRIGGER history_no_delete BEFORE DELETE ON history
        BEGIN SELECT RAISE(ABORT, 'the table history is only ever added to'); END;
CREATE TRIGGER plans_no_update BEFORE UPDATE ON plans
        BEGIN SELECT RAISE(ABORT, 'the table plans is only ever added to'); END;
CREATE TRIGGER plans_no_delete BEFORE DELETE ON plans
        BEGIN SELECT RAISE(ABORT, 'the table plans is only ever added to'); END;
CREATE TRIGGER files_no_update BEFORE UPDATE ON files
        BEGIN SELECT RAISE(ABORT, 'the table files is only ever added to'); END;
CREATE TRIGGER files_no_delete BEFORE DELETE ON files
        BEGIN SELECT RAISE(ABORT, 'the table files is only ever added to'); END;
COMMIT;
