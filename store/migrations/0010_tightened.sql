-- What tightening did to the reading of a parked arm: before and after, in nanometres. Both or neither.
ALTER TABLE event ADD COLUMN loose_nm INTEGER;
ALTER TABLE event ADD COLUMN tight_nm INTEGER CHECK ((loose_nm IS NULL) = (tight_nm IS NULL));
