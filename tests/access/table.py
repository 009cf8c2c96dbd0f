"""The one table of who gets what answer at which address: what the site is expected to do, written down by hand.

A new address needs a row here, or tests/architecture/test_addresses.py fails. People are letters:

    r reader, d designer, a approver, p maintenance planner, k register keeper, s site administrator (all at the site of
    the records), u superuser, n somebody with every role at another site, o somebody with a log-in and no role.

Whoever is not named for a method is refused with 403, or with 404 where the row hides the record from them. A method
that names nobody is not there: 405 for everybody. Without a log-in, or with one that was taken away, every address but
the open ones leads to the log-in page (the API answers 401).
"""

from __future__ import annotations

from dataclasses import dataclass

PEOPLE = "rdapksuno"
SITE = "rdapks"
"""Everybody with a role at the site of the records."""
MEMBERS = SITE + "u"
SHARED = MEMBERS + "n"
"""Who sees what all sites share: a role anywhere will do."""
KEEPERS = "kdsn"
"""Who edits the shared register."""


@dataclass(frozen=True)
class Row:
    """Who is let through at one address. `get` counts for HEAD too; `hidden` are those from whom the record is hidden,
    `record` names what of the world it is asked for, `body` what is sent to it (world.py)."""

    get: str = ""
    post: str = ""
    put: str = ""
    delete: str = ""
    hidden: str = ""
    record: str = ""
    body: str = ""


@dataclass(frozen=True)
class Open:
    """An address that is open to everybody, and the test that proves what it does."""

    why: str
    proof: str


@dataclass(frozen=True)
class Own:
    """An address of the log-in library that is about nobody but who asks: it wants a log-in, never fails, and a look
    changes nothing. What it does to whom is proved by its test."""

    proof: str


LOOP = {"hidden": "no"}
"""Loops and sheets are not there for whoever has no role at their site."""
PLACE = {"hidden": "n"}
"""Nor are sites and areas; who has no role at all is told so."""


def record_rows(kind: str, editors: str, viewers: str = SHARED, adders: str = "", **hidden: str) -> dict[str, Row]:
    """The addresses that every kind of record has; `adders` where not everybody who edits one may add one."""
    adders = adders or editors
    copiers = "".join(person for person in adders if person not in hidden.get("hidden", ""))
    changed, lasting = f"{kind}_change", {"record": kind, **hidden}
    exported = {} if kind in {"site", "scheme"} else {f"{kind}_export": Row(get=SHARED)}
    hides = {"hidden": "n"} if kind == "area" else {}
    many = Row(get=adders, post=editors, record=kind, body=f"{kind}_many", **hides)
    return (
        exported
        | ({} if kind in {"site", "scheme"} else {f"{kind}_many": many})
        | {
            f"{kind}_list": Row(get=SHARED),
            f"{kind}_seen": Row(get=SHARED),
            f"{kind}_new": Row(get=adders, post=adders, body=f"{kind}_new"),
            kind: Row(get=viewers, **lasting),
            f"{kind}_edit": Row(get=editors, post=editors, body=changed, **lasting),
            f"{kind}_duplicate": Row(get=copiers, **lasting),
            f"{kind}_archive": Row(get=editors, post=editors, body="reason", **lasting),
            f"{kind}_restore": Row(
                get=editors, post=editors, body="reason", **lasting | {"record": f"archived_{kind}"}
            ),
            f"{kind}_history": Row(get=viewers, **lasting),
            f"{kind}_compare": Row(get=viewers, **lasting),
        }
    )


def api_rows(kind: str, editors: str, viewers: str = SHARED, adders: str = "", **hidden: str) -> dict[str, Row]:
    """The addresses of the API that every kind of record has."""
    adders = adders or editors
    lasting = {"record": kind, **hidden}
    bulk = {f"api_{kind}_bulk": Row(post=editors, body=f"{kind}_bulk")}
    files = {f"api_{kind}_attachments": Row(get=viewers, post=editors, body="upload", **lasting)}
    return (
        ({} if kind in {"site", "scheme"} else bulk)
        | (files if kind in {"certificate", "equipment"} else {})
        | {
            f"api_{kind}_list": Row(get=SHARED, post=adders, body=f"{kind}_json"),
            f"api_{kind}": Row(get=viewers, put=editors, body=f"{kind}_json_change", **lasting),
            f"api_{kind}_archived": Row(put=editors, body="archive_json", **lasting),
            f"api_{kind}_revisions": Row(get=viewers, **lasting),
            f"api_{kind}_revision": Row(get=viewers, **lasting),
        }
    )


FACTORS = "tests/registry/login/test_second_factor.py"
TABLE: dict[str, Row | Open | Own] = {
    **dict.fromkeys(
        ("livez", "readyz", "metrics"),
        Open("for what watches the machine", "tests/deploy/operations/test_probes.py"),
    ),
    # ------------------------------------------------------------------------------------------------------ the way in
    "account_login": Open("the way in", "tests/registry/login/test_log_in.py"),
    "account_inactive": Open("says that an account is deactivated", "tests/registry/login/test_log_in.py"),
    **dict.fromkeys(
        (
            "account_reset_password",
            "account_reset_password_done",
            "account_reset_password_from_key",
            "account_reset_password_from_key_done",
        ),
        Open("a new password by mail, for who forgot it", "tests/registry/login/test_resetting.py"),
    ),
    "mfa_login_webauthn": Open("the way in with a passkey", FACTORS),
    "mfa_authenticate": Open("the second step of the way in", FACTORS),
    **dict.fromkeys(
        ("openid_connect_login", "openid_connect_callback", "socialaccount_login_cancelled"),
        Open("the way in through a log-in service", "tests/registry/login/test_directories.py"),
    ),
    "account_logout": Open("ends a session; without one it goes home", "tests/registry/login/test_log_in.py"),
    "account_reauthenticate": Own("tests/registry/login/test_log_in.py"),
    **dict.fromkeys(
        (
            "mfa_index",
            "mfa_reauthenticate",
            "mfa_reauthenticate_webauthn",
            "mfa_activate_totp",
            "mfa_deactivate_totp",
            "mfa_view_recovery_codes",
            "mfa_generate_recovery_codes",
            "mfa_download_recovery_codes",
            "mfa_list_webauthn",
            "mfa_add_webauthn",
            "mfa_edit_webauthn",
            "mfa_remove_webauthn",
        ),
        Own(FACTORS),
    ),
    "sessions_end": Own("tests/registry/login/test_log_in.py"),
    "language": Own("tests/registry/test_language.py"),
    "tokens": Row(get=PEOPLE),
    "webhooks": Row(get="sun"),
    "webhook_new": Own("tests/registry/test_webhooks.py"),
    "webhook": Row(get="su", post="su", record="webhook", body="pause", hidden="n"),
    "token_new": Own("tests/registry/api/test_tokens.py"),
    "token_revoke": Own("tests/registry/api/test_tokens.py"),
    "password_change": Row(get=PEOPLE, post=PEOPLE, put=PEOPLE, body="own_password"),
    # ----------------------------------------------------------------------------------------------------------- loops
    "home": Row(get=PEOPLE),
    "loop_list": Row(get=PEOPLE),
    "overview": Row(get=PEOPLE),
    "schedules": Row(get=SHARED),
    "works": Row(get=PEOPLE),
    "reports:pack_new": Row(get=SHARED, post=SHARED, body="pack"),
    "work": Row(get="d", hidden="rapksuno", record="work"),
    "work_progress": Row(get="d", hidden="rapksuno", record="work"),
    "work_file": Row(get="d", hidden="rapksuno", record="work"),
    "work_cancel": Row(post="d", hidden="rapksuno", record="work"),
    "cable_run_list": Row(get=PEOPLE),
    "cable_run_seen": Row(get=PEOPLE),
    "member_list": Row(get=PEOPLE),
    "member_seen": Row(get=PEOPLE),
    "loop_export": Row(get=PEOPLE),
    "loop_seen": Row(get=PEOPLE),
    "loop_pick": Row(get=SHARED),
    "loop_new": Row(get="dn", post="d", body="loop_new"),
    "loop": Row(get=MEMBERS, record="draft", **LOOP),
    "loop_many": Row(get="dn", post="d", record="draft", body="loop_many", **PLACE),
    "loop_edit": Row(get="d", post="d", record="draft", body="loop_change", **LOOP),
    "loop_duplicate": Row(get="d", record="draft", **LOOP),
    "loop_series": Row(get="d", post="d", record="draft", body="series", **LOOP),
    "loop_revision": Row(get=MEMBERS, record="draft", **LOOP),
    "loop_compare": Row(get=MEMBERS, record="draft", **LOOP),
    "loop_submit": Row(post="d", record="draft", body="step", **LOOP),
    "loop_take_back": Row(post="d", record="review", body="step", **LOOP),
    "loop_return": Row(post="a", record="review", body="step", **LOOP),
    "loop_judge_again": Row(post="d", record="draft", body="step", **LOOP),
    "loop_ask": Row(get="da", post="da", record="review", body="reviewers", **LOOP),
    "loop_review": Row(post="a", record="asked", body="agreed", **LOOP),
    "loop_remark": Row(post="dapks", record="draft", body="step", **LOOP),
    "loop_reply": Row(post="dapks", record="draft", body="answer", **LOOP),
    "loop_withdraw": Row(post="a", record="issued", body="step", **LOOP),
    "loop_confirm": Row(post="da", record="draft", body="condition", **LOOP),
    "loop_unconfirm": Row(post="da", record="draft", body="step", **LOOP),
    "loop_archive": Row(post="d", record="draft", body="archive", **LOOP),
    "loop_studies": Row(get=MEMBERS, post=MEMBERS, record="draft", body="study", **LOOP),
    "loop_study": Row(get=MEMBERS, post=SITE.replace("r", ""), record="study", body="kept_study", **LOOP),
    "impact": Row(get=PEOPLE),
    "impact_ask": Row(get=MEMBERS, post=MEMBERS, hidden="n", record="asked_area", body="impact"),
    "impact_answer": Row(get="d", hidden="rapksuno", record="answer"),
    "impact_export": Row(get="d", hidden="rapksuno", record="answer"),
    "suits": Row(get=PEOPLE),
    "suits_sources": Row(get=PEOPLE),
    "substitutions": Row(get=PEOPLE, post=MEMBERS, hidden="n", record="equipment", body="obsolete"),
    "substitution": Row(get="d", post="d", hidden="rapksuno", record="matrix", body="bulk_drafts"),
    "substitution_export": Row(get="d", hidden="rapksuno", record="matrix"),
    "suits_loop": Row(get=MEMBERS, record="draft", **LOOP),
    "suits_item": Row(get=MEMBERS, record="draft", **LOOP),
    "suits_typed": Row(get=MEMBERS, post=MEMBERS, record="draft", body="typed_item", **LOOP),
    "suits_check": Row(get=MEMBERS, post="dp", record="draft", body="step", **LOOP),
    "reports:approve": Row(get=MEMBERS, post="a", record="review", body="signature", **LOOP),
    "reports:draft": Row(get=MEMBERS, record="draft", **LOOP),
    "reports:typical": Row(get=MEMBERS, record="draft", **LOOP),
    "reports:typical_pdf": Row(get=MEMBERS, record="draft", **LOOP),
    "reports:ignition": Row(get=MEMBERS, record="draft", **LOOP),
    "reports:sheet": Row(get=MEMBERS, record="sheet", **LOOP),
    "reports:live": Open("the state of an issued sheet, where its site allows that", "tests/reports/test_live.py"),
    # ---------------------------------------------------------------------------------------------------- inspections
    "inspections": Row(get=SHARED),
    "inspections_export": Row(get=SHARED),
    "inspection_round": Row(get=SHARED),
    "inspection_round_begin": Row(post=SHARED, body="round"),
    "loop_inspections": Row(get=MEMBERS, post="dp", record="draft", body="begin", **LOOP),
    "inspection": Row(get=MEMBERS, record="inspection", **LOOP),
    "inspection_place": Row(get=MEMBERS, post="dp", record="inspection", body="line", **LOOP),
    "inspection_line": Row(post="dp", record="inspection", body="line", **LOOP),
    "inspection_photo": Row(get=MEMBERS, record="inspection", **LOOP),
    "inspection_photo_retire": Row(post="dp", record="inspection", body="step", **LOOP),
    "inspection_sign": Row(post="dp", record="filled", body="signature", **LOOP),
    "inspection_give_up": Row(post="dp", record="inspection", body="step", **LOOP),
    "inspection_paper": Row(get=MEMBERS, record="inspection", **LOOP),
    "defect_list": Row(get=PEOPLE),
    "defect_seen": Row(get=PEOPLE),
    "defect": Row(get=MEMBERS, post="dp", record="defect", body="remedied", **LOOP),
    "label_list": Row(get=PEOPLE),
    "label_seen": Row(get=PEOPLE),
    "labels": Row(get=SHARED),
    # ------------------------------------------------------------------------------------------------------------- API
    **api_rows("certificate", KEEPERS),
    **api_rows("equipment", KEEPERS),
    **api_rows("cable_type", KEEPERS),
    **api_rows("scheme", "ksun"),
    **api_rows("site", "su", MEMBERS, "u", **PLACE),
    **api_rows("area", "ds", MEMBERS, **PLACE),
    "api_verify": Row(post=PEOPLE, body="case"),
    "api_loops": Row(get=PEOPLE, post="d", body="loop_json"),
    "api_loop": Row(get=MEMBERS, put="d", record="draft", body="loop_json_change", **LOOP),
    "api_loop_bulk": Row(post="d", body="loop_bulk"),
    "api_changes": Row(get=SHARED),
    "api_attachment": Row(get=SHARED, record="file"),
    "api_attachment_content": Row(get=SHARED, record="file"),
    "api_attachment_retire": Row(post=KEEPERS, record="file", body="reason_alone_json"),
    "api_loop_archived": Row(put="d", record="draft", body="archive_json", **LOOP),
    "api_loop_revisions": Row(get=MEMBERS, record="draft", **LOOP),
    "api_loop_revision": Row(get=MEMBERS, record="draft", **LOOP),
    "api_loop_case": Row(get=MEMBERS, record="draft", **LOOP),
    "api_loop_verifications": Row(get=MEMBERS, record="draft", **LOOP),
    "api_verification": Row(get=MEMBERS, record="verification", **LOOP),
    "api_approvals": Row(get=PEOPLE),
    "api_approval": Row(get=MEMBERS, record="signed", **LOOP),
    "api_sheets": Row(get=PEOPLE),
    "api_sheet": Row(get=MEMBERS, record="sheet", **LOOP),
    "api_sheet_bytes": Row(get=MEMBERS, record="sheet", **LOOP),
    "api_studies": Row(get=MEMBERS, post=SITE.replace("r", ""), record="draft", body="study_json", **LOOP),
    "api_study_fields": Row(get=MEMBERS, record="draft", **LOOP),
    "api_study_judge": Row(post=MEMBERS, record="draft", body="columns_json", **LOOP),
    "api_study": Row(get=MEMBERS, delete="d", record="study", **LOOP),
    "api_impacts": Row(post=MEMBERS, hidden="n", record="asked_area", body="impact_json"),
    "api_impact": Row(get="d", hidden="rapksuno", record="answer"),
    "api_suits_sources": Row(post=MEMBERS, body="question_json"),
    "api_substitutions": Row(post=MEMBERS, hidden="n", record="equipment", body="obsolete_json"),
    "api_substitution": Row(get="d", hidden="rapksuno", record="matrix"),
    "api_suits_loop": Row(get=MEMBERS, record="draft", **LOOP),
    "api_suits_item": Row(get=MEMBERS, record="draft", **LOOP),
    "api_suits_typed": Row(post=MEMBERS, record="draft", body="typed_json", **LOOP),
    "api_suits_check": Row(get=MEMBERS, post="dp", record="draft", body="reason_json", **LOOP),
    "schema": Row(get=PEOPLE),
    "api-docs": Row(get=PEOPLE),
    # -------------------------------------------------------------------------------------------------------- register
    **record_rows("certificate", KEEPERS),
    **record_rows("equipment", KEEPERS),
    **record_rows("cable_type", KEEPERS),
    **record_rows("scheme", "ksun"),
    **record_rows("site", "su", MEMBERS, "u", **PLACE),
    **record_rows("area", "ds", MEMBERS, **PLACE),
    "area_many": Row(get="dsn", post="ds", record="area", body="area_many", hidden="n"),
    "area_new": Row(get="dsn", post="ds", body="area_new"),
    "certificate_supersede": Row(get=KEEPERS, post=KEEPERS, record="certificate", body="next_issue"),
    "certificate_attach": Row(post=KEEPERS, record="certificate", body="upload"),
    "equipment_attach": Row(post=KEEPERS, record="equipment", body="upload"),
    "file": Row(get=SHARED, record="file"),
    "file_retire": Row(post=KEEPERS, record="file", body="step"),
    "import": Row(get=KEEPERS, post=KEEPERS, body="table"),
    "import_template": Row(get=PEOPLE),
    "equipment_paste": Row(get=KEEPERS, post=KEEPERS, body="text"),
    "equipment_nameplate": Row(get=KEEPERS, post=KEEPERS, body="nameplate"),
    "equipment_take": Row(post=KEEPERS, body="text"),
    "certificate_take": Row(post=KEEPERS, body="text"),
    "equipment_confirm": Row(post=KEEPERS, record="equipment", body="step"),
    "equipment_nameplate_file": Row(get=SHARED, record="equipment"),
    "pick": Row(get=SHARED),
    "read_quantity": Row(get=PEOPLE),
    "list_layout": Row(post=SHARED, body="text"),
    "view_new": Row(post=SITE, hidden="n", body="view_new"),
    "view": Row(get=MEMBERS, post="ds", record="view", body="view_change", **LOOP),
    "search": Row(get=SHARED),
    "parameters": Row(get=PEOPLE),
    "styles": Row(get="u"),
    "expiry": Row(get=SHARED),
    "log": Row(get=SHARED),
    "log_export": Row(get=SHARED),
    "notices": Row(get=PEOPLE),
    "notices_read": Row(post=PEOPLE),
    "notice": Row(post="r", hidden="dapksuno", record="notice"),
    "people": Row(get=SHARED),
    "person_new": Row(get="sun", post="sun", body="person_new"),
    "person": Row(get="su", post="su", record="person", body="person_change", **PLACE),
    "person_password": Row(get="su", post="su", record="person", body="password", **PLACE),
}
