-- Format 13: an hour carries a checksum of its readings, for as long as they are rows.

ALTER TABLE hours ADD seal INTEGER;
