/* The end of reading a register: animals without a name get one, and all are handed over. */
#include "regcsv_priv.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>

static const struct staged_device *device_at(const struct regcsv_stage *s, uint32_t item)
{
    return (const struct staged_device *) s->devices.items + (item - 1);
}

/* The number it wears, else its code, else its line: the first that no animal is called yet. */
static enum lm_err name_one(struct regcsv_stage *s, uint32_t animal)
{
    struct staged_animal *a = lm_stage_at(s, animal);
    const struct staged_device *d = a->first ? device_at(s, a->first) : NULL;
    char name[LM_NAME_MAX + 1];
    int n;

    if (d && d->visual && lm_stage_len(s, d->visual) <= LM_NAME_MAX) {
        enum lm_err err = lm_stage_claim(s, animal, d->visual);
        if (err != LM_EEXISTS)
            return err;
    }
    for (unsigned attempt = 0;; attempt++) {
        regcsv_str str;
        enum lm_err err;

        if (attempt == 0 && d && d->known)
            n = (int) strlen(lm_eid_format((struct lm_eid){d->bits, d->known}, name));
        else if (attempt <= 1)
            n = snprintf(name, sizeof name, "row %u", a->line);
        else
            n = snprintf(name, sizeof name, "row %u-%u", a->line, attempt);
        str = lm_stage_text(s, name, (size_t) n);
        err = str ? lm_stage_claim(s, animal, str) : LM_ENOMEM;
        if (err != LM_EEXISTS)
            return err;
    }
}

enum lm_err lm_stage_name_all(struct regcsv_stage *s)
{
    enum lm_err err = LM_OK;

    for (uint32_t i = 0; !err && i < s->animals.n; i++)
        if (!lm_stage_at(s, i)->key)
            err = name_one(s, i);
    return err;
}

/* Every column has its own limit, so that what was staged always fits where it goes. */
static void put(const struct regcsv_stage *s, regcsv_str str, char *out)
{
    memcpy(out, lm_stage_str(s, str), lm_stage_len(s, str) + 1);
}

static void put_device(
    const struct regcsv_stage *s, const struct staged_device *d, struct lm_device *out)
{
    static const struct staged_rare none;
    const struct staged_rare *rare =
        d->rare ? (const struct staged_rare *) s->rares.items + (d->rare - 1) : &none;

    out->id = 0;
    out->eid = (struct lm_eid){d->bits, d->known};
    put(s, d->visual, out->visual);
    put(s, d->colour, out->colour);
    put(s, rare->uid, out->uid);
    put(s, rare->why, out->why);
    out->applied = d->applied;
    out->removed = rare->removed;
    out->replaces = rare->replaces;
    out->form = d->form;
    out->place = d->place;
    out->official = (d->flags & DEVICE_OFFICIAL) != 0;
    out->gone = (d->flags & DEVICE_GONE) != 0;
}

static void put_animal(
    const struct regcsv_stage *s, const struct staged_animal *a, struct lm_record *rec)
{
    uint32_t item = a->first;

    put(s, a->key, rec->key);
    put(s, a->species, rec->species);
    put(s, a->breed, rec->breed);
    put(s, a->dam, rec->dam);
    put(s, a->sire, rec->sire);
    put(s, a->mob, rec->mob);
    rec->born = a->born;
    rec->status_date = a->status_date;
    rec->sex = a->sex;
    rec->castrated = (a->given & IS_CASTRATED) != 0;
    rec->status = a->status;
    rec->n_devices = a->n_devices;
    rec->struck = false;
    rec->merged_into[0] = '\0';
    for (unsigned i = 0; i < a->n_devices; i++) {
        const struct staged_device *d = device_at(s, item);
        put_device(s, d, &rec->devices[i]);
        item = d->next;
    }
}

/* Words and names were only needed to take the rows in; the caller's own tables come now. */
static void drop_tables(struct regcsv_stage *s)
{
    free(s->words.slots);
    free(s->names.slots);
    s->words = s->names = (struct regcsv_table){0};
}

#define SLAB 65536u /* animals after which what was handed over is given back */

/* Give the whole pages of the first @p n items back to the system; the block itself is freed later.
 * The caller builds as much again as was staged here: both at once would double the peak. */
static void give_back(struct regcsv_list *list, size_t item_size, uint32_t n)
{
    uintptr_t page = 4096;
    uintptr_t begin = ((uintptr_t) list->items + page - 1) / page * page;
    uintptr_t end = ((uintptr_t) list->items + (size_t) n * item_size) / page * page;
    if (end > begin)
        madvise((void *) begin, end - begin, MADV_DONTNEED);
}

/* How many devices from the first on were handed over, when rows of one animal stand together. */
static uint32_t handed_over(uint32_t so_far, const struct staged_animal *a)
{
    bool next = a->first == so_far + 1 && a->last == so_far + a->n_devices;
    return next ? so_far + a->n_devices : so_far;
}

enum lm_err lm_stage_deliver(struct regcsv_stage *s, const struct lm_regcsv_hooks *hooks)
{
    struct lm_record rec;
    enum lm_err err = LM_OK;
    uint32_t devices = 0;

    drop_tables(s);
    if (hooks->begin)
        hooks->begin(s->animals.n, s->devices.n, hooks->ctx);

    for (uint32_t i = 0; !err && hooks->record && i < s->animals.n; i++) {
        put_animal(s, lm_stage_at(s, i), &rec);
        err = hooks->record(&rec, (long) lm_stage_at(s, i)->line, hooks->ctx);
        devices = handed_over(devices, lm_stage_at(s, i));
        if (i % SLAB == SLAB - 1) {
            give_back(&s->animals, sizeof(struct staged_animal), i + 1);
            give_back(&s->devices, sizeof(struct staged_device), devices);
        }
    }
    return err;
}
