/* Arrivals, departures, births and deaths into the register. */
#include "icar_priv.h"

#include <stdio.h>
#include <string.h>

#define SAID_MAX 30 /* bytes of a word of theirs that is kept as the reason of a change */

static const char *word(struct icar_reader *r, const json_t *ev, const char *path, const char *key)
{
    const char *text = lm_icar_text(r, ev, path, key);
    return text != NULL ? text : "";
}

/* An event without its animal's details names it at least. */
static enum lm_err apply_detail(struct icar_reader *r, const json_t *ev, const char *source,
    const char *path, const struct icar_change *change)
{
    char at[ICAR_PATH_MAX];
    const json_t *detail = json_object_get(ev, "animalDetail");
    snprintf(at, sizeof at, "%s/animalDetail", path);
    if (json_is_object(detail))
        return lm_icar_apply(r, detail, source, at, change);
    json_t *bare = json_pack("{s:O?}", "identifier", json_object_get(ev, "animal"));
    enum lm_err err = bare == NULL ? LM_ENOMEM : lm_icar_apply(r, bare, source, path, change);
    json_decref(bare);
    return err;
}

/* Whether an animal came or went without being bought or sold: stay.h reads the reason's first
 * words. */
static bool is_moved(const char *kind)
{
    static const char *const moves[] = {"InternalTransfer", "StudService", "StudServiceReturn",
        "Agistment", "AgistmentReturn", "Show", "ShowReturn", "SaleReturn"};
    for (size_t i = 0; i < sizeof moves / sizeof *moves; i++)
        if (strcmp(kind, moves[i]) == 0)
            return true;
    return false;
}

static enum lm_err take_departure(struct icar_reader *r, const json_t *ev, const char *source,
    const char *path, struct lm_date when)
{
    char key[LM_NAME_MAX + 1], at[ICAR_PATH_MAX], why[LM_NAME_MAX + 1];
    const char *kind = word(r, ev, path, "departureKind");
    const char *reason = word(r, ev, path, "departureReason");
    bool slaughter =
        strcmp(kind, "Slaughter") == 0 || (kind[0] == '\0' && strcmp(reason, "Slaughter") == 0);
    enum lm_status status = slaughter ? LM_SLAUGHTERED : LM_SOLD;
    snprintf(at, sizeof at, "%s/animal", path);
    enum lm_err err = lm_icar_named(r, json_object_get(ev, "animal"), source, at, key);
    if (err != LM_OK || key[0] == '\0')
        return err;
    if (!slaughter && strcmp(kind, "Sale") != 0 && !is_moved(kind))
        lm_icar_note(&r->notes, false, "departures of kind %.40s, entered as sold",
            kind[0] != '\0' ? kind : "(not said)");
    snprintf(why, sizeof why, "%sdeparture %.*s", is_moved(kind) ? "transferred out: " : "",
        SAID_MAX, kind);
    return lm_icar_change(
        r, key, path, &(struct icar_change){.status = &status, .when = when, .why = why});
}

static enum lm_err take_death(struct icar_reader *r, const json_t *ev, const char *source,
    const char *path, struct lm_date when)
{
    char key[LM_NAME_MAX + 1], at[ICAR_PATH_MAX], why[LM_NAME_MAX + 1];
    const char *method = word(r, ev, path, "deathMethod");
    const char *reason = word(r, ev, path, "deathReason");
    enum lm_status status = LM_DEAD;
    if (strcmp(method, "Slaughter") == 0)
        status = LM_SLAUGHTERED;
    else if (strcmp(method, "Lost") == 0 || strcmp(method, "Theft") == 0 ||
             (method[0] == '\0' && strcmp(reason, "Missing") == 0))
        status = LM_LOST;
    snprintf(at, sizeof at, "%s/animal", path);
    enum lm_err err = lm_icar_named(r, json_object_get(ev, "animal"), source, at, key);
    if (err != LM_OK || key[0] == '\0')
        return err;
    snprintf(why, sizeof why, "death %.*s", SAID_MAX, reason[0] != '\0' ? reason : method);
    return lm_icar_change(
        r, key, path, &(struct icar_change){.status = &status, .when = when, .why = why});
}

static enum lm_err take_arrival(struct icar_reader *r, const json_t *ev, const char *source,
    const char *path, struct lm_date when)
{
    char why[LM_NAME_MAX + 1];
    enum lm_status status = LM_ON_FARM;
    const char *reason = word(r, ev, path, "arrivalReason");
    snprintf(why, sizeof why, "%s: arrival %.*s", is_moved(reason) ? "transferred in" : "bought",
        SAID_MAX, reason);
    return apply_detail(
        r, ev, source, path, &(struct icar_change){.status = &status, .when = when, .why = why});
}

static enum lm_err take_birth(struct icar_reader *r, const json_t *ev, const char *source,
    const char *path, struct lm_date when)
{
    bool born = strcmp(word(r, ev, path, "registrationReason"), "Registered") != 0;
    /* A registration is later than the birth: only the details know the day. */
    struct icar_change change = {.why = born ? "birth" : "registration"};
    if (born)
        change.born = when;
    return apply_detail(r, ev, source, path, &change);
}

enum lm_err lm_icar_take_event(
    struct icar_reader *r, const json_t *ev, const char *type, const char *path)
{
    struct lm_date when;
    const char *source = json_string_value(json_object_get(json_object_get(ev, "meta"), "source"));
    unsigned long before = r->problems;
    if (!lm_icar_take_day(r, ev, path, "eventDateTime", &when) || when.year == 0) {
        if (r->problems == before)
            lm_icar_bad(r, LM_EINPUT, path, "have the sender add eventDateTime",
                "the event has no eventDateTime: nothing says when it was");
        return LM_OK;
    }
    if (strcmp(type, "icarMovementDepartureEventResource") == 0)
        return take_departure(r, ev, source, path, when);
    if (strcmp(type, "icarMovementDeathEventResource") == 0)
        return take_death(r, ev, source, path, when);
    if (strcmp(type, "icarMovementArrivalEventResource") == 0)
        return take_arrival(r, ev, source, path, when);
    return take_birth(r, ev, source, path, when);
}
