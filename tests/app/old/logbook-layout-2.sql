-- A logbook as layout 2 wrote it: one job, one pass of two photos, told and answered. Written
-- by the program of that layout, then dumped.
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
INSERT INTO "event" VALUES(1,'2026-11-27 08:02:00.000000','job started','job',1,NULL,'{"name": "Axle"}',0);
INSERT INTO "event" VALUES(2,'2026-11-27 08:06:00.000000','pass kept','pass',1,NULL,'{"number": 1}',0);
INSERT INTO "event" VALUES(3,'2026-11-27 08:07:00.000000','pass answered','pass',1,'{"followed": null}','{"followed": true}',0);
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
INSERT INTO "job" VALUES(1,'Axle','{"material": "1045", "diameter_mm": 16.0}','{"id": "a", "material": "HSS"}','{"spindle_rev_min": [260, 500], "feeds_mm_rev": [0.06, 0.1]}','2026-11-27 08:01:00.000000',NULL);
CREATE TABLE pass (
	id INTEGER NOT NULL, 
	job_id INTEGER NOT NULL, 
	number INTEGER NOT NULL, 
	cut JSON NOT NULL, 
	told JSON NOT NULL, 
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
	FOREIGN KEY(job_id) REFERENCES job (id)
);
INSERT INTO "pass" VALUES(1,1,1,'{"direction": "along", "spindle_rev_min": 500, "feed_mm_rev": 0.1, "depth_mm": 0.5}','{"noticed": ["burr"]}','{"usable": "with care", "heat": null, "flags": [], "chips": [], "form": null}',NULL,NULL,'{}',1,NULL,'2026-11-27 08:05:00.000000',NULL);
CREATE TABLE pass_photo (
	pass_id INTEGER NOT NULL, 
	place INTEGER NOT NULL, 
	photo_sha256 VARCHAR(64) NOT NULL, 
	PRIMARY KEY (pass_id, place), 
	UNIQUE (pass_id, photo_sha256), 
	FOREIGN KEY(pass_id) REFERENCES pass (id), 
	FOREIGN KEY(photo_sha256) REFERENCES photo (sha256)
);
INSERT INTO "pass_photo" VALUES(1,0,'2d234ad29c090b4da02390b679f4cfdc6b333cc36b084d7767fe5f78ab1b2760');
INSERT INTO "pass_photo" VALUES(1,1,'844a444312b72113efbdae32aa2180b928c2c79bb82ff0b9039a114a60311994');
CREATE TABLE photo (
	sha256 VARCHAR(64) NOT NULL, 
	name VARCHAR NOT NULL, 
	suffix VARCHAR NOT NULL, 
	bytes_count INTEGER NOT NULL, 
	added_at_utc DATETIME NOT NULL, 
	PRIMARY KEY (sha256)
);
INSERT INTO "photo" VALUES('844a444312b72113efbdae32aa2180b928c2c79bb82ff0b9039a114a60311994','x.jpg','.jpg',28,'2026-11-27 08:03:00.000000');
INSERT INTO "photo" VALUES('2d234ad29c090b4da02390b679f4cfdc6b333cc36b084d7767fe5f78ab1b2760','x.jpg','.jpg',28,'2026-11-27 08:04:00.000000');
CREATE INDEX ix_pass_photo_sha256 ON pass_photo (photo_sha256);
COMMIT;
PRAGMA user_version = 2;
