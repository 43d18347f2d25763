"""What a shop server asks of its database: functions over the tables there, or, in a database in front of several
parts, functions of the same names through which PL/Proxy [1] asks the parts. Who asks cannot tell which.

A place says which part something lies on: its lowest bits are the part's number. Whatever is asked by place is refused
on any other part, so that nothing can come to lie where it would not be looked for.

[1] PL/Proxy 2.10: syntax.md and config.md, in Debian's package postgresql-15-plproxy.
[2] PostgreSQL 15 documentation, 30.4 asynchronous commit.
[3] PostgreSQL 15 documentation, 13.3.4 deadlocks.
[4] PostgreSQL 15 documentation, 9.27.12 transaction ID and snapshot information functions.
"""

from __future__ import annotations

import hashlib

import attrs

CLUSTER = "garboard"
"""What PL/Proxy knows the parts by."""

_AT_PLACE = "run on at_place"
_ON_EACH = "split to_places, to_hulls, their_ids, their_bodies, their_kinds; run on to_places"
_ON_ALL = "run on all"


@attrs.frozen
class Verb:
    """One function.

    takes, gives : its arguments and its result
    does         : what it does over the tables
    runs         : on which parts PL/Proxy runs it
    """

    name: str
    takes: str
    gives: str
    does: str
    runs: str = _AT_PLACE
    language: str = "sql stable"

    def over_tables(self) -> str:
        return self._made(self.language, self.does)

    def over_parts(self) -> str:
        return self._made("plproxy", f"cluster '{CLUSTER}'; {self.runs};")

    def _made(self, language: str, body: str) -> str:
        return (
            f"create function garboard.{self.name}({self.takes}) returns {self.gives}"
            f" language {language} as $function$ {body} $function$;\n"
        )


_HELPERS = """
create function garboard.is_here(at_place int) returns boolean language plpgsql stable as $function$
declare
    part garboard.about;
begin
    select * into part from garboard.about;
    if at_place & (part.servers - 1) <> part.server then
        raise exception 'place % lies on part %, this is part % of %: the parts are in another order than they were',
            at_place, at_place & (part.servers - 1), part.server, part.servers;
    end if;
    return true;
end
$function$;

create function garboard.saving_here(at_places int[]) returns void language plpgsql as $function$
begin
    perform garboard.is_here(at_place) from unnest(at_places) as at_place;
    -- what is answered is on the disk, whatever the server's setting [2]
    perform set_config('synchronous_commit', 'on', true)
        where current_setting('synchronous_commit') in ('off', 'local', 'remote_write');
end
$function$;
"""

VERBS = (
    Verb(
        "part",
        "at_place int",
        "table (version int, functions text, server int, servers int, fsync text)",
        "select version, functions, server, servers, current_setting('fsync') from garboard.about",
    ),
    Verb(
        "ids",
        "at_place int, of_yard int, of_hull text",
        "bytea",
        """
        select string_agg(id, ''::bytea) from garboard.entry
        where garboard.is_here(at_place) and yard = of_yard and hull = of_hull
        """,
    ),
    Verb(
        "entries",
        "at_place int, of_yard int, of_hull text, the_ids bytea[]",
        "table (id text, body text)",
        """
        select encode(id, 'hex'), body from garboard.entry
        where garboard.is_here(at_place) and yard = of_yard and hull = of_hull and id = any(the_ids)
        """,
    ),
    Verb(
        "kinds",
        "at_place int, of_yard int, of_hull text",
        "table (kind text, entries bigint)",
        """
        select kind, entries from garboard.kind
        where garboard.is_here(at_place) and yard = of_yard and hull = of_hull
        """,
    ),
    # Each hull's ids run together, its entries and their kinds a line each. Whoever puts entries into a hull holds
    # that hull's row until they are committed, hulls in order: two who put the same entries wait for each other and
    # never both for the other [3].
    Verb(
        "put",
        "of_yard int, by_tablet text, at_time bigint, ahead_by bigint,"
        " to_places int[], to_hulls text[], their_ids bytea[], their_bodies text[], their_kinds text[]",
        "setof text",
        """
begin
    perform garboard.saving_here(to_places);
    insert into garboard.hull (yard, hull) select of_yard, hull from unnest(to_hulls) as hull
        order by hull collate "C" on conflict do nothing;
    perform from garboard.hull where yard = of_yard and hull = any(to_hulls) order by hull for no key update;
    return query
        with offered as (
            select lot.hull, substring(lot.ids from (16 * line.number - 15)::int for 16) as id, line.body, line.kind
            from unnest(to_hulls, their_ids, their_bodies, their_kinds) as lot (hull, ids, bodies, kinds),
                unnest(string_to_array(lot.bodies, E'\\n'), string_to_array(lot.kinds, E'\\n'))
                    with ordinality as line (body, kind, number)
        ), new as (
            insert into garboard.entry (yard, hull, id, body)
            select of_yard, hull, id, body from offered order by hull, id on conflict do nothing
            returning hull, id
        ), counted as (
            insert into garboard.kind as known (yard, hull, kind, entries)
            select of_yard, hull, kind, count(*) from new join offered using (hull, id) group by hull, kind
            on conflict (yard, hull, kind) do update set entries = known.entries + excluded.entries
        ), by_hull as (
            select hull, count(*) as entries, array_agg(encode(id, 'hex') order by id) as ids from new group by hull
        ), grown as (
            update garboard.hull as known
            set entries = known.entries + by_hull.entries, changed = pg_current_xact_id()
            from by_hull where known.yard = of_yard and known.hull = any(to_hulls) and known.hull = by_hull.hull
        ), noted as (
            insert into garboard.delivery (yard, at, tablet, clock_offset, ids)
            select of_yard, at_time, by_tablet, ahead_by, jsonb_object_agg(hull, ids) from by_hull having count(*) > 0
        )
        select unnest(ids) from by_hull;
end
        """,
        _ON_EACH,
        "plpgsql",
    ),
    # A hull's row carries the transaction that last put entries into it. Whatever was still under way when last looked
    # has a number from the snapshot's lower end on [4], so hulls from there on are told again. Entries are never taken
    # away, so a digest holds as long as their number does. Tables that are not those of the mark are told whole.
    Verb(
        "digests",
        "of_yard int, marks jsonb",
        "table (part int, tables text, following text, hull text, digest text, entries bigint)",
        """
#variable_conflict use_column
declare
    here int;
    these text := (select concat_ws(' ', pg_postmaster_start_time(), oid, pg_relation_filenode('garboard.hull'))
        from pg_database where datname = current_database()); -- a copy of a database has its tables' numbers
    since xid8 := '0';
    next text := pg_snapshot_xmin(pg_current_snapshot());
    hulls text[];
    found text[];
    counts bigint[];
begin
    select server into here from garboard.about;
    if marks -> here::text ->> 'tables' = these then
        since := marks -> here::text ->> 'following';
    end if;
    select array_agg(hull), array_agg(digest), array_agg(entries) into hulls, found, counts from (
        select hull, encode(sha256(convert_to(string_agg(encode(id, 'hex'), '' order by id), 'UTF8')), 'hex') as digest,
            count(*) as entries
        from garboard.entry where yard = of_yard and hull = any(array(
            select hull from garboard.hull where yard = of_yard and changed >= since and digest_of <> entries))
        group by hull) as read;
    if hulls is not null then
        begin -- a database that takes no changes can still be read
            perform set_config('synchronous_commit', 'off', true); -- what is lost is worked out again
            with free as (
                select hull from garboard.hull where yard = of_yard and hull = any(hulls)
                order by hull for no key update skip locked
            ), read as (select * from unnest(hulls, found, counts) as of (hull, digest, entries))
            update garboard.hull as known set digest = read.digest, digest_of = read.entries
            from free join read using (hull)
            where known.yard = of_yard and known.hull = any(hulls) and known.hull = read.hull
                and known.digest_of < read.entries;
        exception when others then null;
        end;
    end if;
    return query
        select here, these, next, held.* from (values (1)) as always left join (
            select hull, coalesce(read.digest, known.digest), coalesce(read.entries, known.digest_of) as entries
            from garboard.hull as known left join unnest(hulls, found, counts) as read (hull, digest, entries)
                using (hull)
            where known.yard = of_yard and known.changed >= since
        ) as held on held.entries > 0;
end
        """,
        _ON_ALL,
        "plpgsql",
    ),
    Verb(
        "deliveries",
        "of_yard int, after_at bigint, after_part int, after_number bigint, until bigint, at_most int",
        "table (at bigint, part int, number bigint, tablet text, clock_offset bigint, ids jsonb)",
        """
        select noted.at, part.server, noted.number, noted.tablet, noted.clock_offset, noted.ids
        from garboard.delivery as noted, garboard.about as part
        where noted.yard = of_yard and noted.at between after_at and until
            and (noted.at, part.server, noted.number) > (after_at, after_part, after_number)
        order by noted.at, noted.number limit at_most
        """,
        _ON_ALL,
    ),
    Verb(
        "attachments",
        "of_yard int",
        "table (name text, held bigint)",
        "select name, held from garboard.attachment where yard = of_yard and is_finished",
        _ON_ALL,
    ),
    Verb(
        "attachments_arriving",
        "of_yard int",
        "table (name text, held bigint, touched bigint)",
        "select name, held, touched from garboard.attachment where yard = of_yard and not is_finished",
        _ON_ALL,
    ),
    Verb(
        "attachment",
        "at_place int, of_yard int, of_name text",
        "table (number bigint, held bigint, is_finished boolean)",
        """
        select number, held, is_finished from garboard.attachment
        where garboard.is_here(at_place) and yard = of_yard and name = of_name
        """,
    ),
    Verb(
        "attachment_read",
        "at_place int, the_number bigint, from_byte bigint, at_most int",
        "bytea",
        """
        select substring(string_agg(content, '' order by start) from (from_byte - min(start) + 1)::int for at_most)
        from garboard.piece
        where garboard.is_here(at_place) and attachment = the_number
            and start < from_byte + at_most and start + length(content) > from_byte
        """,
    ),
    Verb(
        "attachment_add",
        "at_place int, of_yard int, of_name text, from_byte bigint, the_piece bytea, of_total bigint",
        "table (number bigint, held bigint, is_finished boolean, is_taken boolean)",
        """
#variable_conflict use_column
declare
    known garboard.attachment;
    fits boolean;
begin
    perform garboard.saving_here(array[at_place]);
    insert into garboard.attachment (yard, name) values (of_yard, of_name) on conflict do nothing;
    select * into known from garboard.attachment where yard = of_yard and name = of_name for update;
    fits := not known.is_finished and from_byte = known.held and from_byte + length(the_piece) <= of_total;
    if fits and length(the_piece) > 0 then
        insert into garboard.piece (attachment, start, content) values (known.number, from_byte, the_piece);
        known.held := from_byte + length(the_piece);
        update garboard.attachment
            set held = known.held, touched = extract(epoch from clock_timestamp()) * 1000000
            where number = known.number;
    end if;
    return query select known.number, known.held, known.is_finished, fits;
end
        """,
        language="plpgsql",
    ),
    Verb(
        "attachment_drop",
        "at_place int, of_yard int, of_name text",
        "void",
        """
begin
    perform garboard.saving_here(array[at_place]);
    delete from garboard.attachment where yard = of_yard and name = of_name and not is_finished;
end
        """,
        language="plpgsql",
    ),
    # One that is not sound is dropped, or, if it was finished, kept as found under another name: a sound one can come.
    Verb(
        "attachment_judge",
        "at_place int, the_number bigint, is_sound boolean",
        "void",
        """
begin
    perform garboard.saving_here(array[at_place]);
    if is_sound then
        update garboard.attachment set is_finished = true where number = the_number;
    else
        delete from garboard.attachment where number = the_number and not is_finished;
        update garboard.attachment set name = name || '.damaged-' || number where number = the_number;
    end if;
end
        """,
        language="plpgsql",
    ),
)


def functions(is_front: bool) -> str:
    """Statements that make them: over tables, or for a database in front of several parts."""
    if is_front:
        return "".join(verb.over_parts() for verb in VERBS)
    return _HELPERS + "".join(verb.over_tables() for verb in VERBS)


EDITION = hashlib.sha256((functions(True) + functions(False)).encode()).hexdigest()
"""Which functions these are."""
