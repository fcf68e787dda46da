-- The area file, schema 1. Never change this text: a new file grows by the same steps as an old one.
PRAGMA application_id = 1196444487; -- "GPKG" (OGC 12-128r19, requirement 2)
PRAGMA user_version = 10400;        -- GeoPackage 1.4

-- OGC 12-128r19, tables C.1 to C.3 and F.1
CREATE TABLE gpkg_spatial_ref_sys (
    srs_name TEXT NOT NULL,
    srs_id INTEGER NOT NULL PRIMARY KEY,
    organization TEXT NOT NULL,
    organization_coordsys_id INTEGER NOT NULL,
    definition TEXT NOT NULL,
    description TEXT
);
CREATE TABLE gpkg_contents (
    table_name TEXT NOT NULL PRIMARY KEY,
    data_type TEXT NOT NULL,
    identifier TEXT UNIQUE,
    description TEXT DEFAULT '',
    last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
    min_x DOUBLE,
    min_y DOUBLE,
    max_x DOUBLE,
    max_y DOUBLE,
    srs_id INTEGER,
    CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id)
);
CREATE TABLE gpkg_geometry_columns (
    table_name TEXT NOT NULL,
    column_name TEXT NOT NULL,
    geometry_type_name TEXT NOT NULL,
    srs_id INTEGER NOT NULL,
    z TINYINT NOT NULL,
    m TINYINT NOT NULL,
    CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name),
    CONSTRAINT uk_gc_table_name UNIQUE (table_name),
    CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name),
    CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id)
);

CREATE TABLE fields (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    geom POLYGON,
    id TEXT,
    name TEXT,
    surface TEXT,
    stock TEXT,
    surveyed DATE,
    stock_seen DATE,
    notes TEXT,
    crop TEXT,
    crop_year INTEGER,
    hazard_remarks TEXT,
    access TEXT,
    permission TEXT,
    photographs TEXT,
    other TEXT
);
CREATE TABLE proposals (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    geom POLYGON,
    id TEXT,
    name TEXT,
    surface TEXT,
    stock TEXT,
    surveyed DATE,
    stock_seen DATE,
    notes TEXT,
    crop TEXT,
    crop_year INTEGER,
    hazard_remarks TEXT,
    access TEXT,
    permission TEXT,
    photographs TEXT,
    other TEXT,
    edges TEXT,
    score DOUBLE,
    strip_length_m DOUBLE,
    checked TEXT,
    not_checked TEXT,
    refused BOOLEAN
);
CREATE TABLE boundary_edges (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    geom LINESTRING,
    kind TEXT,
    height_m DOUBLE
);
CREATE TABLE hazards (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    geom GEOMETRY,
    id TEXT,
    kind TEXT,
    height_m DOUBLE,
    pole_heights_m TEXT,
    name TEXT,
    other TEXT
);
CREATE TABLE quiet_zones (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    geom POLYGON,
    id TEXT,
    kind TEXT,
    name TEXT,
    below_agl_m DOUBLE
);
CREATE TABLE lanes (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    geom LINESTRING,
    kind TEXT,
    name TEXT
);
CREATE TABLE home (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    geom POINT,
    name TEXT,
    field_id TEXT,
    elevation_amsl_m DOUBLE,
    runway_length_m DOUBLE,
    runway_width_m DOUBLE
);
CREATE TABLE runway_ends (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    geom POINT,
    name TEXT,
    heading_true_rad DOUBLE,
    elevation_amsl_m DOUBLE
);
CREATE TABLE start_state (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    geom POINT,
    height_agl_m DOUBLE,
    heading_true_rad DOUBLE,
    wind_from_true_rad DOUBLE,
    wind_speed_ms DOUBLE,
    wind_gust_ms DOUBLE
);

-- Without geometry: what belongs to a row of "fields" or "proposals", named by owner and owner_fid.
CREATE TABLE field_sides (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    field_fid INTEGER NOT NULL,
    side INTEGER NOT NULL,
    edge_fid INTEGER NOT NULL
);
CREATE INDEX field_sides_of_field ON field_sides (field_fid);
CREATE INDEX field_sides_of_edge ON field_sides (edge_fid);
CREATE TABLE calendar_months (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    owner TEXT NOT NULL,
    owner_fid INTEGER NOT NULL,
    month INTEGER NOT NULL,
    surface TEXT
);
CREATE INDEX calendar_months_of_owner ON calendar_months (owner_fid);

-- Keys and values of the program: one text, or one JSON value, for each key.
CREATE TABLE sparefield_meta (key TEXT NOT NULL PRIMARY KEY, value TEXT);
CREATE TABLE sparefield_settings (key TEXT NOT NULL PRIMARY KEY, value TEXT);
