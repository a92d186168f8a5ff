/** @file random_record.h
 * Random animals for tests of file formats, and a comparison that says which field differs.
 * The same seed gives the same animals.
 */
#ifndef TEST_RANDOM_RECORD_H
#define TEST_RANDOM_RECORD_H

#include "lugmark/record.h"

#include <stdio.h>
#include <string.h>

struct dice {
    uint64_t state;
};

static inline uint64_t roll64(struct dice *d)
{
    d->state ^= d->state << 13;
    d->state ^= d->state >> 7;
    d->state ^= d->state << 17;
    return d->state;
}

static inline unsigned roll(struct dice *d, unsigned below)
{
    return (unsigned) (roll64(d) >> 33) % below;
}

/* Everything that a careless writer or reader would trip over; blanks only inside. */
static inline void random_text(struct dice *d, char *out, size_t max)
{
    static const char *const bits[] = {"0", "7", "a", "Z", "\"", "\"\"", ",", ";", " ", "'", "=",
        "+", "-", "@", "\\", "/", "{", "]", ":", "%s", "\xC3\xA4", "\xE2\x82\xAC",
        "\xF0\x9F\x90\x90", "<", "&"};
    size_t n = 0, want = roll(d, 4) ? roll(d, 12) : roll(d, (unsigned) max + 1);

    while (n < want) {
        const char *bit = bits[roll(d, sizeof bits / sizeof bits[0])];
        size_t len = strlen(bit);
        if (n + len > want || (*bit == ' ' && (n == 0 || n + len == want)))
            break;
        memcpy(out + n, bit, len);
        n += len;
    }
    while (n && out[n - 1] == ' ')
        n--;
    out[n] = '\0';
}

static inline struct lm_date random_date(struct dice *d)
{
    struct lm_date date = {0};

    if (roll(d, 3) == 0)
        return date;
    date.year = (int16_t) (1900 + roll(d, 8100));
    if (roll(d, 4))
        date.month = (uint8_t) (1 + roll(d, 12));
    if (date.month && roll(d, 4))
        date.day = (uint8_t) (1 + roll(d, 28));
    return date;
}

/* Codes of every kind that a device can carry, and none at all. */
static inline struct lm_eid random_eid(struct dice *d)
{
    struct lm_eid eid = {0};

    if (roll(d, 4) == 0)
        return eid;
    if (roll(d, 2))
        lm_eid_make(1 + roll(d, 999), 1 + (roll64(d) & (LM_NATIONAL_MAX >> 1)), &eid);
    else if (roll(d, 8))
        eid = lm_eid_from_bits(roll64(d) | 1);
    else /* its hex digits are decimal ones */
        eid = lm_eid_from_bits(UINT64_C(0x8000001234567890) + roll(d, 10));
    return eid;
}

static inline void random_device(struct dice *d, struct lm_device *dev)
{
    memset(dev, 0, sizeof *dev);
    dev->eid = random_eid(d);
    random_text(d, dev->visual, LM_VISUAL_MAX);
    random_text(d, dev->colour, LM_NAME_MAX);
    if (roll(d, 5) == 0)
        snprintf(dev->uid, sizeof dev->uid, "04%012llX",
            (unsigned long long) (roll64(d) & 0xFFFFFFFFFFFF));
    dev->applied = random_date(d);
    dev->form = (uint8_t) roll(d, LM_TATTOO + 1);
    dev->place = (uint8_t) roll(d, LM_TAIL_WEB + 1);
    dev->official = roll(d, 2);
    dev->gone = roll(d, 3) == 0;
    if (dev->gone) {
        dev->removed = random_date(d);
        random_text(d, dev->why, LM_NAME_MAX);
    }
}

/* An animal that is told from others by @p number. */
static inline void random_record(struct dice *d, unsigned number, struct lm_record *rec)
{
    memset(rec, 0, sizeof *rec);
    random_text(d, rec->key, LM_NAME_MAX - 12);
    snprintf(rec->key + strlen(rec->key), 12, "#%u", number); /* no text has a # of its own */
    random_text(d, rec->species, LM_NAME_MAX);
    random_text(d, rec->breed, LM_NAME_MAX);
    random_text(d, rec->dam, LM_NAME_MAX);
    random_text(d, rec->sire, LM_NAME_MAX);
    random_text(d, rec->mob, LM_NAME_MAX);
    rec->born = random_date(d);
    rec->status_date = random_date(d);
    rec->sex = (uint8_t) roll(d, LM_SEX_MALE + 1);
    rec->castrated = roll(d, 4) == 0;
    rec->status = (uint8_t) roll(d, LM_LOST + 1);
    rec->n_devices = (uint8_t) (roll(d, 20) ? roll(d, 5) : roll(d, LM_DEVICES_MAX + 1));
    for (unsigned i = 0; i < rec->n_devices; i++) {
        random_device(d, &rec->devices[i]);
        if (i > 0 && roll(d, 3) == 0)
            rec->devices[i].replaces = (uint8_t) (1 + roll(d, i));
    }
}

static inline bool same_date(struct lm_date a, struct lm_date b)
{
    return a.year == b.year && a.month == b.month && a.day == b.day;
}

#define DIFFERS(field, cond)                                                                       \
    if (!(cond))                                                                                   \
    return field

/** @return The name of the first field that differs, or NULL. Row ids are compared too. */
static inline const char *device_difference(const struct lm_device *a, const struct lm_device *b)
{
    DIFFERS("id", a->id == b->id);
    DIFFERS("eid", a->eid.bits == b->eid.bits && a->eid.known == b->eid.known);
    DIFFERS("visual", !strcmp(a->visual, b->visual));
    DIFFERS("colour", !strcmp(a->colour, b->colour));
    DIFFERS("uid", !strcmp(a->uid, b->uid));
    DIFFERS("why", !strcmp(a->why, b->why));
    DIFFERS("applied", same_date(a->applied, b->applied));
    DIFFERS("removed", same_date(a->removed, b->removed));
    DIFFERS("form", a->form == b->form);
    DIFFERS("place", a->place == b->place);
    DIFFERS("official", a->official == b->official);
    DIFFERS("gone", a->gone == b->gone);
    DIFFERS("replaces", a->replaces == b->replaces);
    return NULL;
}

static inline const char *record_difference(const struct lm_record *a, const struct lm_record *b)
{
    DIFFERS("key", !strcmp(a->key, b->key));
    DIFFERS("species", !strcmp(a->species, b->species));
    DIFFERS("breed", !strcmp(a->breed, b->breed));
    DIFFERS("dam", !strcmp(a->dam, b->dam));
    DIFFERS("sire", !strcmp(a->sire, b->sire));
    DIFFERS("mob", !strcmp(a->mob, b->mob));
    DIFFERS("born", same_date(a->born, b->born));
    DIFFERS("status_date", same_date(a->status_date, b->status_date));
    DIFFERS("sex", a->sex == b->sex);
    DIFFERS("castrated", a->castrated == b->castrated);
    DIFFERS("status", a->status == b->status);
    DIFFERS("struck", a->struck == b->struck);
    DIFFERS("merged_into", !strcmp(a->merged_into, b->merged_into));
    DIFFERS("n_devices", a->n_devices == b->n_devices);
    for (unsigned i = 0; i < a->n_devices; i++) {
        const char *field = device_difference(&a->devices[i], &b->devices[i]);
        if (field)
            return field;
    }
    return NULL;
}

#undef DIFFERS

#endif
