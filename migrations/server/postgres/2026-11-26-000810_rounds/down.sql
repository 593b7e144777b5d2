DROP TABLE farm_limits;
DROP TABLE proposal_lines;
DROP TABLE proposal_farms;
DROP TABLE proposals;
DROP TABLE round_timetables;
DROP TABLE rounds;
