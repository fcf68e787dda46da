-- Schema 2: every photograph is a row of its own, so that other programs can show and sort them.
CREATE TABLE photographs (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    owner TEXT NOT NULL,
    owner_fid INTEGER NOT NULL,
    number INTEGER NOT NULL,
    path TEXT
);
CREATE INDEX photographs_of_owner ON photographs (owner_fid);
INSERT INTO photographs (owner, owner_fid, number, path)
    SELECT 'fields', f.fid, j.key, j.value FROM fields f, json_each(f.photographs) j
    WHERE json_valid(f.photographs) ORDER BY f.fid, j.key;
INSERT INTO photographs (owner, owner_fid, number, path)
    SELECT 'proposals', f.fid, j.key, j.value FROM proposals f, json_each(f.photographs) j
    WHERE json_valid(f.photographs) ORDER BY f.fid, j.key;
-- A column that holds something else than a list stays, so that nothing is lost: it is emptied only where it was read.
UPDATE fields SET photographs = NULL WHERE json_valid(photographs);
UPDATE proposals SET photographs = NULL WHERE json_valid(photographs);
INSERT INTO gpkg_contents (table_name, data_type, identifier, description, srs_id)
    VALUES ('photographs', 'attributes', 'photographs', 'Photographs of fields, by path or address', NULL);
