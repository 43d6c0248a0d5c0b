-- A logbook as layout 1 wrote it: two jobs (one deleted), three passes (one without a photo,
-- one deleted), two photos. Written by the program of that layout, then dumped.
BEGIN TRANSACTION;
CREATE TABLE event (
	id INTEGER NOT NULL, 
	at_utc DATETIME NOT NULL, 
	what VARCHAR NOT NULL, 
	"table" VARCHAR NOT NULL, 
	row_id INTEGER NOT NULL, 
	"before" JSON, 
	"after" JSON, 
	undone BOOLEAN NOT NULL, 
	PRIMARY KEY (id)
);
INSERT INTO "event" VALUES(1,'2026-11-20 08:01:00.000000','job started','job',1,NULL,'{"name": "Spacer"}',0);
INSERT INTO "event" VALUES(2,'2026-11-20 08:05:00.000000','pass kept','pass',1,NULL,'{"number": 1}',0);
INSERT INTO "event" VALUES(3,'2026-11-20 08:06:00.000000','pass answered','pass',1,'{"followed": null}','{"followed": true}',0);
INSERT INTO "event" VALUES(4,'2026-11-20 08:08:00.000000','pass kept','pass',2,NULL,'{"number": 2}',0);
INSERT INTO "event" VALUES(5,'2026-11-20 08:09:00.000000','note written','pass',2,'{"outcome": null}','{"outcome": "too long, all of it"}',0);
INSERT INTO "event" VALUES(6,'2026-11-20 08:11:00.000000','pass kept','pass',3,NULL,'{"number": 3}',0);
INSERT INTO "event" VALUES(7,'2026-11-20 08:13:00.000000','pass deleted','pass',3,'{"deleted_at_utc": null}','{"deleted_at_utc": "2026-11-20T08:12:00+00:00"}',0);
INSERT INTO "event" VALUES(8,'2026-11-20 08:15:00.000000','job started','job',2,NULL,'{"name": "Axle"}',0);
INSERT INTO "event" VALUES(9,'2026-11-20 08:17:00.000000','job deleted','job',2,'{"deleted_at_utc": null}','{"deleted_at_utc": "2026-11-20T08:16:00+00:00"}',0);
CREATE TABLE job (
	id INTEGER NOT NULL, 
	name VARCHAR NOT NULL, 
	work JSON NOT NULL, 
	edge JSON NOT NULL, 
	lathe JSON NOT NULL, 
	made_at_utc DATETIME NOT NULL, 
	deleted_at_utc DATETIME, 
	PRIMARY KEY (id)
);
INSERT INTO "job" VALUES(1,'Spacer','{"material": "304", "diameter_mm": 20.0, "stickout_mm": 40}','{"material": "HSS", "id": "hss-1", "re_mm": 0.4}','{"spindle_rev_min": [260, 430], "feeds_mm_rev": [0.06, 0.1]}','2026-11-20 08:00:00.000000',NULL);
INSERT INTO "job" VALUES(2,'Axle','{"material": "304", "diameter_mm": 20.0, "stickout_mm": 40}','{"material": "HSS", "id": "hss-1", "re_mm": 0.4}','{"spindle_rev_min": [260, 430], "feeds_mm_rev": [0.06, 0.1]}','2026-11-20 08:14:00.000000','2026-11-20 08:16:00.000000');
CREATE TABLE pass (
	id INTEGER NOT NULL, 
	job_id INTEGER NOT NULL, 
	number INTEGER NOT NULL, 
	cut JSON NOT NULL, 
	told JSON NOT NULL, 
	photo_sha256 VARCHAR(64), 
	reading JSON, 
	advice JSON, 
	label VARCHAR, 
	versions JSON NOT NULL, 
	followed BOOLEAN, 
	outcome VARCHAR, 
	made_at_utc DATETIME NOT NULL, 
	deleted_at_utc DATETIME, 
	PRIMARY KEY (id), 
	UNIQUE (job_id, number), 
	FOREIGN KEY(job_id) REFERENCES job (id), 
	FOREIGN KEY(photo_sha256) REFERENCES photo (sha256)
);
INSERT INTO "pass" VALUES(1,1,1,'{"direction": "along", "spindle_rev_min": 260, "feed_mm_rev": 0.06, "depth_mm": 0.5, "coolant": "cutting oil", "power_feed": true}','{"noticed": ["burr"]}','844a444312b72113efbdae32aa2180b928c2c79bb82ff0b9039a114a60311994','{"schema": "bluecurl.reading/1", "photo": "chips.jpg", "photos": ["chips.jpg"], "sha256": "844a444312b72113efbdae32aa2180b928c2c79bb82ff0b9039a114a60311994", "size_px": [40, 30], "scale": {"source": "none", "px_per_mm": null, "residual_mm": null}, "chips": [], "form": null, "heat": null, "flags": [], "usable": "with care", "versions": {"reader": "0"}}','{"schema": "bluecurl.advice/1", "verdict": "change", "because": "The chips are long and stringy: they wrap round the work.", "do": [], "cautions": ["Stop the lathe before you clear long chips."], "change": {"lever": "feed", "from": 0.04, "to": 0.06, "unit": "mm/rev", "because": "A thicker chip bends harder and breaks sooner.", "expect": "Shorter coils, about a third of the length.", "if_not": "Go back and take more depth.", "sources": ["invented for a test"]}, "alternatives": [], "next_cut": {"spindle_rev_min": 900, "feed_mm_rev": 0.06, "depth_mm": 0.3, "power_feed": true, "coolant": "cutting oil"}, "checks": [{"limit": "spindle torque", "value": 0.9, "bound": 5.7, "kind": "max", "unit": "N m", "severity": "ok", "source": "invented"}, {"limit": "roughness Rz", "value": 14.0, "bound": 16.0, "kind": "max", "unit": "\u00b5m", "severity": "near", "source": "invented"}], "trust": "good"}',NULL,'{"reader": "0"}',1,NULL,'2026-11-20 08:04:00.000000',NULL);
INSERT INTO "pass" VALUES(2,1,2,'{"direction": "along", "spindle_rev_min": 260, "feed_mm_rev": 0.1, "depth_mm": 0.5, "coolant": "cutting oil", "power_feed": true}','{}',NULL,NULL,NULL,NULL,'{}',NULL,'too long, all of it','2026-11-20 08:07:00.000000',NULL);
INSERT INTO "pass" VALUES(3,1,3,'{"direction": "along", "spindle_rev_min": 260, "feed_mm_rev": 0.06, "depth_mm": 0.5, "coolant": "cutting oil", "power_feed": true}','{}','2d234ad29c090b4da02390b679f4cfdc6b333cc36b084d7767fe5f78ab1b2760',NULL,NULL,NULL,'{}',NULL,NULL,'2026-11-20 08:10:00.000000','2026-11-20 08:12:00.000000');
CREATE TABLE photo (
	sha256 VARCHAR(64) NOT NULL, 
	name VARCHAR NOT NULL, 
	suffix VARCHAR NOT NULL, 
	bytes_count INTEGER NOT NULL, 
	added_at_utc DATETIME NOT NULL, 
	PRIMARY KEY (sha256)
);
INSERT INTO "photo" VALUES('844a444312b72113efbdae32aa2180b928c2c79bb82ff0b9039a114a60311994','chips-1.jpg','.jpg',28,'2026-11-20 08:02:00.000000');
INSERT INTO "photo" VALUES('2d234ad29c090b4da02390b679f4cfdc6b333cc36b084d7767fe5f78ab1b2760','chips-2.jpg','.jpg',28,'2026-11-20 08:03:00.000000');
CREATE INDEX ix_pass_photo ON pass (photo_sha256);
COMMIT;
PRAGMA user_version = 1;
