-- Schema 5: the wind of a sortie as the user gave it, and what was measured when it was last looked through.
ALTER TABLE sorties ADD COLUMN wind_given TEXT;
ALTER TABLE sorties ADD COLUMN measures TEXT;
