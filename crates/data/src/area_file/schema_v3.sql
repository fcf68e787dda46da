-- Schema 3: drill sets, and the results of drills that were flown. Results are added and never changed.
CREATE TABLE drill_sets (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    id TEXT,
    name TEXT,
    drills INTEGER,
    definition TEXT
);
CREATE TABLE drill_results (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    id TEXT,
    pilot TEXT,
    day TEXT,
    set_id TEXT,
    number INTEGER,
    stopped_in_strip INTEGER,
    document TEXT
);
CREATE INDEX drill_results_by_id ON drill_results (id);
INSERT INTO gpkg_contents (table_name, data_type, identifier, description, srs_id) VALUES
    ('drill_sets', 'attributes', 'drill_sets', 'Sets of drills: conditions and places of rehearsed failures', NULL),
    ('drill_results', 'attributes', 'drill_results', 'Results of drills, for each pilot and day', NULL);
