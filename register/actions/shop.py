"""The shop: reading its shop.toml, its machines, and the leave to run one unattended."""

from register.domain.machines import Machine, UnattendedPermission, allow_unattended
from register.domain.shop import ShopSettings
from register.domain.texts import NOTE_LENGTH, clean_text
from register.errors import BadText, NotAllowed, NotFound
from register.opening import Register
from register.settings.shop_file import built_in, read_shop, written_shop
from register.store import shops


def checked_settings(content: bytes | None, name: str) -> ShopSettings:
    """What a shop.toml says, or the built-in shop if there is none; raises BadSettings. Nothing is kept."""
    return built_in() if content is None else read_shop(content, name)


def checked_station(letter: str) -> str:
    """The letter of a register's job numbers; raises BadText for anything but one to three capitals."""
    station = letter.strip().upper()
    if not (1 <= len(station) <= 3 and station.isascii() and station.isalpha()):
        raise BadText(f"{letter!r} is no station.", "Give one to three letters, such as A.")
    return station


def set_up_shop(register: Register, content: bytes | None, name: str) -> ShopSettings:
    """Take over a shop.toml, or the built-in shop if there is none, as one operation.

    Raises
    ------
    BadSettings
        If the file is not in order; nothing is changed.
    """
    wanted = checked_settings(content, name)
    why = "set up the shop" if content is None else "read the shop's settings"
    with register.store.writing(register.who, why) as tx:
        shops.keep_settings(tx, wanted)
    return wanted


def shop_settings(register: Register) -> ShopSettings:
    """Everything that the shop has; raises NotFound if none was set up."""
    with register.store.reading() as view:
        return shops.settings(view)


def shop_as_written(register: Register) -> str:
    """The shop as a shop.toml."""
    return written_shop(shop_settings(register))


def give_leave(register: Register, machine: str, by: str, conditions: str, longest_h: float) -> Machine:
    """Record a responsible adult's leave to run a printer with nobody there.

    Parameters
    ----------
    by
        The adult's name.
    conditions
        What must hold, in their words.
    longest_h
        Longest run with nobody there, hours.

    Raises
    ------
    NotFound
        If the machine or the person is not there.
    NotAllowed
        For a router, or if the person is no responsible adult.
    """
    conditions = clean_text(conditions, "conditions", NOTE_LENGTH)
    if not 0 < longest_h <= 72:
        raise NotAllowed(f"{longest_h:g} hours is no length for an unattended run.", "Give from 0 to 72 hours.")
    with register.store.writing(register.who, f"give leave to run {machine} unattended") as tx:
        known = shops.settings(tx)
        person = next((each for each in known.people if each.name == by), None)
        if person is None:
            raise NotFound(f"There is nobody called {by!r} in the shop.", "Name them in shop.toml first.")
        if not person.responsible_adult:
            raise NotAllowed(f"{by} is not a responsible adult of the shop.", "Ask one of those who are.")
        leave = UnattendedPermission(by, tx.at, conditions, longest_h)
        changed = allow_unattended(_machine(known, machine), leave)
        shops.keep_permission(tx, machine, leave)
    return changed


def withdraw_leave(register: Register, machine: str) -> Machine:
    """Take the leave to run a machine unattended back; raises NotFound."""
    with register.store.writing(register.who, f"withdraw the leave to run {machine} unattended") as tx:
        found = _machine(shops.settings(tx), machine)
        if found.permission is None:
            raise NotAllowed(f"{machine} has no leave to run unattended.", "There is nothing to withdraw.")
        shops.keep_permission(tx, machine, None)
        return _machine(shops.settings(tx), machine)


def _machine(known: ShopSettings, name: str) -> Machine:
    for each in known.machines:
        if each.name == name:
            return each
    raise NotFound(f"There is no machine {name!r}.", "See `pitwright machine list`.")
