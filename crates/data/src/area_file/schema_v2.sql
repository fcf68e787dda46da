-- Schema 2: every photograph is a row of its own, so that other programs can show and sort them.
CREATE TABLE photographs (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    owner TEXT NOT NULL,
    owner_fid INTEGER NOT NULL,
    number INTEGER NOT NULL,
    path TEXT
);
CREATE INDEX photographs_of_owner ON photographs (owner_fid);
-- Only a list can be taken apart; a column that holds something else stays as it is, so that nothing is lost.
INSERT INTO photographs (owner, owner_fid, number, path)
    SELECT 'fields', f.fid, j.key, j.value FROM fields f, json_each(
        CASE WHEN json_valid(f.photographs) AND json_type(f.photographs) = 'array' THEN f.photographs ELSE '[]' END) j
    ORDER BY f.fid, j.key;
INSERT INTO photographs (owner, owner_fid, number, path)
    SELECT 'proposals', f.fid, j.key, j.value FROM proposals f, json_each(
        CASE WHEN json_valid(f.photographs) AND json_type(f.photographs) = 'array' THEN f.photographs ELSE '[]' END) j
    ORDER BY f.fid, j.key;
UPDATE fields SET photographs = NULL
    WHERE CASE WHEN json_valid(photographs) THEN json_type(photographs) = 'array' ELSE FALSE END;
UPDATE proposals SET photographs = NULL
    WHERE CASE WHEN json_valid(photographs) THEN json_type(photographs) = 'array' ELSE FALSE END;
INSERT INTO gpkg_contents (table_name, data_type, identifier, description, srs_id)
    VALUES ('photographs', 'attributes', 'photographs', 'Photographs of fields, by path or address', NULL);
