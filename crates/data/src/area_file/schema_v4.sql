-- Schema 4: sorties with the bytes of the files that their recorders wrote, and what the user said of their exercises.
CREATE TABLE sorties (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    id TEXT,
    name TEXT,
    aircraft TEXT,
    pilot TEXT,
    note TEXT,
    started TEXT,
    duration_s REAL,
    fixes INTEGER,
    heights TEXT,
    heights_by_user INTEGER,
    columns TEXT,
    original TEXT,
    file_name TEXT,
    recording INTEGER
);
CREATE INDEX sorties_by_id ON sorties (id);
-- One row for each file, also where several sorties come from it; zlib streams, never changed.
CREATE TABLE sortie_originals (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    key TEXT UNIQUE,
    size INTEGER,
    packed BLOB
);
CREATE TABLE exercise_marks (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    sortie TEXT,
    number INTEGER,
    kind TEXT,
    start_s REAL,
    end_s REAL,
    deleted INTEGER,
    note TEXT
);
CREATE INDEX exercise_marks_by_sortie ON exercise_marks (sortie, number);
INSERT INTO gpkg_contents (table_name, data_type, identifier, description, srs_id) VALUES
    ('sorties', 'attributes', 'sorties', 'Recorded flights', NULL),
    ('sortie_originals', 'attributes', 'sortie_originals', 'The files of recorded flights as their recorders wrote them', NULL),
    ('exercise_marks', 'attributes', 'exercise_marks', 'What the user said of the exercises in recorded flights', NULL);
