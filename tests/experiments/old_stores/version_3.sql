-- A store of version 3, as its release wrote it through the acts of the ledger.
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
INSERT INTO "cones" VALUES(1,'measured',1,'proposed',1,'widest',2.35,74.0,'','','','2031-05-05T09:02:00+00:00','2031-05-05T09:03:00+00:00',5);
INSERT INTO "cones" VALUES(2,'failed',1,'proposed',1,'far from it',NULL,NULL,'came off the bed','','','2031-05-05T09:02:00+00:00',NULL,4);
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
INSERT INTO "history" VALUES(1,'2031-05-05T09:01:00+00:00','maker','start','experiment ''window-sill radio'' started','{}','[]',NULL,'9db23020cd0d43dcb48bda35754bffbe7498891e022751af688091da45f07563');
INSERT INTO "history" VALUES(2,'2031-05-05T09:02:00+00:00','maker','plan','cones 1 and 2 planned','{"recipes": [{"process": "resin", "cure_time": 12, "wall": 0.4, "ribs": 3}, {"process": "filament", "wall": 0.6, "ribs": 0}], "plate": null, "reason": ["widest", "far from it"], "proposal": {"seed": 3, "versions": {"coneloop": "0.1.0"}}}','[["insert", "proposals", 1, null], ["insert", "cones", 1, null], ["insert", "settings", 1, null], ["insert", "settings", 2, null], ["insert", "settings", 3, null], ["insert", "settings", 4, null], ["insert", "cones", 2, null], ["insert", "settings", 5, null], ["insert", "settings", 6, null], ["insert", "settings", 7, null]]',NULL,'9db23020cd0d43dcb48bda35754bffbe7498891e022751af688091da45f07563');
INSERT INTO "history" VALUES(3,'2031-05-05T09:03:00+00:00','maker','printed','cone 1 printed','{"cone": 1, "mass": 2.35, "minutes": 74, "note": "", "changes": {"wall": 0.5}}','[["update", "settings", 3, {"value": 0.4}], ["update", "cones", 1, {"status": "planned", "printed_at": null, "version": 2, "mass_g": null, "minutes": null}]]',NULL,'9db23020cd0d43dcb48bda35754bffbe7498891e022751af688091da45f07563');
INSERT INTO "history" VALUES(4,'2031-05-05T09:04:00+00:00','maker','failed','cone 2 failed','{"cone": 2, "why": "came off the bed", "note": ""}','[["update", "cones", 2, {"status": "planned", "failure": "", "version": 2}]]',NULL,'9db23020cd0d43dcb48bda35754bffbe7498891e022751af688091da45f07563');
INSERT INTO "history" VALUES(5,'2031-05-05T09:05:00+00:00','maker','measure','cone 1 measured in session first evening','{"cone": 1, "session": "first evening", "age_days": null, "light_hours": null, "temperature_c": 21.5, "humidity_percent": 48.0, "note": "warm room", "files": [{"name": "r.txt", "kind": "response", "bytes": 15}], "values": {"upper_limit": 9.25, "mass": 2.35}}','[["insert", "sessions", 1, null], ["insert", "measurements", 1, null], ["insert", "readings", 1, null], ["insert", "readings", 2, null], ["insert", "curves", 1, null], ["update", "cones", 1, {"status": "printed", "version": 3}], ["update", "readings", 1, {"definition": null}], ["update", "readings", 2, {"definition": null}]]',NULL,'9db23020cd0d43dcb48bda35754bffbe7498891e022751af688091da45f07563');
INSERT INTO "history" VALUES(6,'2031-05-05T09:06:00+00:00','maker','add','cone 3 added as printed','{"settings": {"process": "filament", "wall": 0.6, "ribs": 1}, "status": "printed", "plate": null, "mass": null, "minutes": null, "why": "", "note": ""}','[["insert", "cones", 3, null], ["insert", "settings", 8, null], ["insert", "settings", 9, null], ["insert", "settings", 10, null]]',NULL,'9db23020cd0d43dcb48bda35754bffbe7498891e022751af688091da45f07563');
INSERT INTO "history" VALUES(7,'2031-05-05T09:07:00+00:00','maker','undo','undid: cone 3 added as printed','{"act": 6}','[["delete", "settings", 10, {"id": 10, "cone": 3, "variable": "ribs", "value": 1}], ["delete", "settings", 9, {"id": 9, "cone": 3, "variable": "wall", "value": 0.6}], ["delete", "settings", 8, {"id": 8, "cone": 3, "variable": "process", "value": "filament"}], ["delete", "cones", 3, {"id": 3, "status": "printed", "plate": null, "origin": "added", "proposal": null, "reason": "", "mass_g": null, "minutes": null, "failure": "", "aside": "", "note": "", "planned_at": null, "printed_at": "2031-05-05T09:06:00+00:00", "version": 6}]]',6,'9db23020cd0d43dcb48bda35754bffbe7498891e022751af688091da45f07563');
INSERT INTO "history" VALUES(8,'2031-05-05T09:08:00+00:00','maker','note','note on cone 1 written','{"text": "all well", "cone": 1}','[["insert", "notes", 1, null]]',NULL,'9db23020cd0d43dcb48bda35754bffbe7498891e022751af688091da45f07563');
CREATE TABLE measurements (
        id INTEGER PRIMARY KEY, cone INTEGER NOT NULL REFERENCES cones (id),
        session INTEGER NOT NULL REFERENCES sessions (id),
        at TEXT NOT NULL, age_days REAL, light_hours REAL,
        note TEXT NOT NULL DEFAULT '', warnings TEXT NOT NULL DEFAULT '[]', temperature_c REAL, humidity_percent REAL);
INSERT INTO "measurements" VALUES(1,1,1,'2031-05-05T09:05:00+00:00',NULL,NULL,'warm room','[]',21.5,48.0);
CREATE TABLE notes (
        id INTEGER PRIMARY KEY, at TEXT NOT NULL, cone INTEGER REFERENCES cones (id),
        text TEXT NOT NULL);
INSERT INTO "notes" VALUES(1,'2031-05-05T09:08:00+00:00',1,'all well');
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
','2031-05-05T09:01:00+00:00');
CREATE TABLE proposals (
        id INTEGER PRIMARY KEY, at TEXT NOT NULL, seed INTEGER, plan TEXT NOT NULL,
        details TEXT NOT NULL);
INSERT INTO "proposals" VALUES(1,'2031-05-05T09:02:00+00:00',3,'9db23020cd0d43dcb48bda35754bffbe7498891e022751af688091da45f07563','{"data": "545c38b0922de19734fbffde62792c37c2aef6a3216cfa472449173165220f7d", "plan": "9db23020cd0d43dcb48bda35754bffbe7498891e022751af688091da45f07563", "seed": 3, "versions": {"coneloop": "0.1.0"}}');
CREATE TABLE readings (
        id INTEGER PRIMARY KEY, measurement INTEGER NOT NULL REFERENCES measurements (id),
        metric TEXT NOT NULL, value REAL, by_hand INTEGER NOT NULL CHECK (by_hand IN (0, 1)), definition TEXT,
        UNIQUE (measurement, metric));
INSERT INTO "readings" VALUES(1,1,'upper_limit',9.25,0,'{"file": "response", "measure": "upper_limit_hz", "method": "d1c7bcde", "options": {"band": null, "drop_db": 10.0, "smooth": null}, "pinned": [], "unit": "kHz"}');
INSERT INTO "readings" VALUES(2,1,'mass',2.35,1,'{"measure": "mass_g", "unit": "g"}');
CREATE TABLE sessions (
        id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE CHECK (name <> ''), at TEXT NOT NULL);
INSERT INTO "sessions" VALUES(1,'first evening','2031-05-05T09:05:00+00:00');
CREATE TABLE settings (
        id INTEGER PRIMARY KEY, cone INTEGER NOT NULL REFERENCES cones (id),
        variable TEXT NOT NULL,
        value NOT NULL CHECK (typeof(value) IN ('integer', 'real', 'text')),
        UNIQUE (cone, variable));
INSERT INTO "settings" VALUES(1,1,'process','resin');
INSERT INTO "settings" VALUES(2,1,'cure_time',12.0);
INSERT INTO "settings" VALUES(3,1,'wall',0.5);
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
