/** @file icar.h
 * The register in the form of ICAR's animal data exchange (ADE), JSON both ways.
 *
 * Written is the part of it that releases 1.3.2 to 1.5.1 share: one collection a file, one resource
 * a line in its `member`, no nulls, identifiers as text. Of an animal:
 * - `identifier` is the code of its official device that it wears (scheme std.iso.11785), else of
 *   another, else a printed number, else its key; the others stand in `alternativeIdentifiers`.
 *   Own schemes begin with the source: SOURCE.animal (the key), SOURCE.visual, SOURCE.tattoo,
 *   SOURCE.chip (UID of a 13.56 MHz chip), SOURCE.breed.
 * - `birthDate` is T00:00:00Z of the day, and left out when the day is not known.
 * - on-farm is Alive, sold OffFarm, dead and slaughtered Dead, lost Unknown.
 * - sold is a departure of kind Sale; dead a death of reason Unknown; slaughtered a death of method
 *   Slaughter; lost a death of reason Missing and method Lost. Only with a known day.
 * - births are those of animals whose dam is in the register; arrivals are animals that were bought
 *   or moved in, as the reason of the entry says, and sold ones that came back.
 * - a session is an animal set of purpose Session: the codes read, known or not, and what was
 *   sighted without a reading.
 * `meta.sourceId` is the animal's key, or what happened, the key and the day: the same each time.
 *
 * Read is any collection of these, or one resource alone: unknown members are ignored, unknown
 * words told and not used, codes and dates checked strictly.
 */
#ifndef LUGMARK_ICAR_H
#define LUGMARK_ICAR_H

#include "lugmark/store.h"

#define LM_ICAR_FILE_MAX (256u << 20)  /**< longest file taken, bytes */
#define LM_ICAR_SOURCE "local.lugmark" /**< source when none is given */

enum lm_icar_what {
    LM_ICAR_ANIMALS,
    LM_ICAR_ARRIVALS,
    LM_ICAR_DEPARTURES,
    LM_ICAR_BIRTHS,
    LM_ICAR_DEATHS,
    LM_ICAR_SESSION,
    LM_ICAR_WHATS
};

const char *lm_icar_what_name(enum lm_icar_what what); /**< "animals", ...; never NULL */
enum lm_err lm_icar_what_parse(const char *word, enum lm_icar_what *what); /**< or LM_EFRAME */

/**
 * Told once for each kind of thing that the other side cannot hold, or that was read and not used.
 * @param[in] n          How often.
 * @param[in] left_out   A whole animal or event was left out, not only a member of it.
 */
typedef void lm_icar_note_fn(const char *text, unsigned long n, bool left_out, void *ctx);

struct lm_icar_write {
    enum lm_icar_what what;
    int64_t session;      /**< which session; 0: the latest */
    const char *source;   /**< reverse domain name or URI; NULL: LM_ICAR_SOURCE */
    const char *scheme;   /**< whose number the holding's is; NULL: SOURCE.holding */
    const char *location; /**< the holding's number; never empty */
    int64_t now_ms;       /**< stands where the time of a change is not known */
    lm_icar_note_fn *note;
    void *ctx;
};

/**
 * Write one collection.
 * @return LM_OK; LM_ENOTFOUND: no such session; LM_EIO when @p out fails; LM_ENOMEM; or what
 * reading the register gave, with its problem set.
 */
enum lm_err lm_icar_write(struct lm_store *store, const struct lm_icar_write *how, FILE *out);

struct lm_icar_read {
    const char *name;       /**< of the file, for messages */
    lm_problem_fn *problem; /**< `what` begins with a JSON pointer to the place */
    lm_icar_note_fn *note;
    /** Called for each entry that was written, with the pointer to its place; may be NULL. */
    void (*entry)(const char *key, const char *place, void *ctx);
    void *ctx;
    int64_t now_ms;
    struct lm_date today; /**< dates after it are refused; none: taken */
};

/** What was taken. */
struct lm_icar_taken {
    unsigned long animals, devices; /**< animals new or changed; devices they gained */
    unsigned long unchanged;        /**< animals that the register had like this */
    unsigned long sessions;
};

/**
 * Read a file into the register, inside the caller's transaction, which the caller commits, or
 * rolls back on any error: nothing is taken when anything is bad. An animal is the one that the
 * register knows by SOURCE.animal, a code or a worn number; what the file does not say of it stays
 * as it is, and no device is ever taken off. A code and a number become two devices: that they are
 * one is not said. Whether the parentage can be is for the caller to look at (family.h).
 * @return LM_OK; LM_EINPUT after problems were told; LM_ENOMEM; or what writing gave.
 */
enum lm_err lm_icar_read(struct lm_store *store, const char *text, size_t len,
    const struct lm_icar_read *how, struct lm_icar_taken *taken);

#endif
