/** @file roll.h
 * The register in memory: code -> device -> animal, number -> animals, and who is expected.
 *
 * A device with a chip (`uid`) is found by its UID too, a code with LM_EID_UID; what is found then
 * has the UID as its `eid`. Listings, counts and lm_roll_*_alone() know of the device once.
 *
 * Built once from records, then changed only by lm_roll_put(). Indexes of animals never change
 * while a roll lives. Memory: about 64 bytes an animal and 48 a device plus its text.
 * Thread: one at a time.
 */
#ifndef LUGMARK_ROLL_H
#define LUGMARK_ROLL_H

#include "lugmark/record.h"

#define LM_NO_ANIMAL UINT32_MAX

struct lm_roll;

/** Make an empty roll. @return NULL when out of memory. Ownership: lm_roll_free(). */
struct lm_roll *lm_roll_new(void);

/** Free a roll; NULL is allowed. */
void lm_roll_free(struct lm_roll *roll);

/**
 * Add an animal, or replace the entry with the same key.
 * The expected mark of a replaced animal follows the scope set by lm_roll_expect_*().
 * @param[in]  rec     Borrowed only during the call.
 * @param[out] animal  Its index; may be NULL.
 * @return LM_OK, LM_EARG for an empty key, LM_ENOMEM.
 */
enum lm_err lm_roll_put(struct lm_roll *roll, const struct lm_record *rec, uint32_t *animal);

/**
 * Load a whole register at once: until lm_roll_load_end(), lm_roll_put() takes only animals whose
 * key is new (the caller knows) and look-ups find none of them.
 * @param[in] animals, devices  How many will come; a hint, 0 when not known.
 * @return LM_OK or LM_ENOMEM.
 */
enum lm_err lm_roll_load_begin(struct lm_roll *roll, uint32_t animals, uint32_t devices);
enum lm_err lm_roll_load_end(struct lm_roll *roll);

/** Say that a code will be looked up soon. Changes nothing; hides the memory's delay. */
void lm_roll_prefetch(const struct lm_roll *roll, struct lm_eid eid);

/** Expect every animal on the farm, or only those of @p mob when it is not NULL or "". */
void lm_roll_expect_mob(struct lm_roll *roll, const char *mob);

/**
 * Expect exactly the animals named.
 * @return How many of the keys are in the register.
 */
size_t lm_roll_expect_keys(struct lm_roll *roll, const char *const *keys, size_t n_keys);

uint32_t lm_roll_animals(const struct lm_roll *roll);  /**< animals in the register */
uint32_t lm_roll_devices(const struct lm_roll *roll);  /**< device entries held */
uint32_t lm_roll_expected(const struct lm_roll *roll); /**< animals on the roll */
size_t lm_roll_memory(const struct lm_roll *roll);     /**< bytes held */

/** One device as the roll knows it. Strings are borrowed until the next put(). */
struct lm_roll_device {
    uint32_t animal;
    struct lm_eid eid;
    const char *visual; /**< "" for none */
    const char *colour;
    struct lm_date applied;
    uint8_t form, place;
    bool official, gone;
};

/** One animal as the roll knows it. Strings are borrowed until the next put(). */
struct lm_roll_animal {
    const char *key;
    const char *species;
    const char *breed;
    const char *mob;
    const char *dam;
    struct lm_date born;
    uint8_t sex, status;
    bool castrated, expected;
    uint32_t n_devices;
};

/** Look at animal @p i, which must be below lm_roll_animals(). */
struct lm_roll_animal lm_roll_animal(const struct lm_roll *roll, uint32_t i);

/** Look at device @p k of animal @p i (k below its n_devices), in the order recorded. */
struct lm_roll_device lm_roll_device(const struct lm_roll *roll, uint32_t i, uint32_t k);

/**
 * Whether no other device ever had the code, or the number, of device @p k of animal @p i: a cheap
 * no to "does somebody share it?".
 */
bool lm_roll_code_alone(const struct lm_roll *roll, uint32_t i, uint32_t k);
bool lm_roll_visual_alone(const struct lm_roll *roll, uint32_t i, uint32_t k);

/** Index of the animal with this key, or LM_NO_ANIMAL. */
uint32_t lm_roll_by_key(const struct lm_roll *roll, const char *key);

/** Walks over all devices that carry one code or one number. Zero-initialise `pos` by _first. */
struct lm_roll_hits {
    uint64_t key; /**< where the walk ends */
    uint32_t pos; /**< where it stands */
    char fold[LM_VISUAL_MAX + 1];
};

/**
 * First, then next, device carrying a code (compared on country and national code), worn or
 * removed.
 * @return false when there is none (any more).
 */
bool lm_roll_code_first(const struct lm_roll *roll, struct lm_eid eid, struct lm_roll_hits *it,
    struct lm_roll_device *out);
bool lm_roll_code_next(
    const struct lm_roll *roll, struct lm_roll_hits *it, struct lm_roll_device *out);

/**
 * First, then next, device carrying a visual number, worn or removed, compared after
 * lm_visual_fold(). When no device carries it so, numbers that differ only in leading zeros are
 * given, if all of those belong to one animal.
 * @return false when there is none (any more).
 */
bool lm_roll_visual_first(const struct lm_roll *roll, const char *visual, struct lm_roll_hits *it,
    struct lm_roll_device *out);
bool lm_roll_visual_next(
    const struct lm_roll *roll, struct lm_roll_hits *it, struct lm_roll_device *out);

#endif
