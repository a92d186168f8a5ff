/** @file regcsv.h
 * The register as CSV (RFC 4180, UTF-8): one row a device, the animal's columns repeat.
 *
 * Columns, by name in any order: animal, species, breed, sex, born, dam, sire, mob, status, form,
 * place, colour, official, eid, visual, applied, removed; and, written by export and taken when
 * there: castrated, status_date, why, uid, eid_text, replaces. Only eid or visual must be there. Rows with
 * the same animal are one animal, wherever they stand; a cell left empty says nothing and may be
 * filled in another row. Without that column, or with that cell empty, each row is one animal. It
 * is then called by its visual number, else its 15 digits, else `row LINE`: the first not in use.
 *
 * `eid_text` is the code once more in a form that no spreadsheet takes for a number: 3-12 digits,
 * or 0x and 16 hex digits when all 64 bits are known. One of the two that can be read is enough;
 * both must agree. `removed` is a date, or `unknown` for a device that is gone nobody knows since
 * when. A row without any of form, place, colour, eid, visual, applied, removed, why, uid is an
 * animal without a device. The row ids of devices are not in the file; `replaces` names a device of
 * the same animal by its place among the animal's rows, 1 for the first.
 */
#ifndef LUGMARK_REGCSV_H
#define LUGMARK_REGCSV_H

#include "lugmark/record.h"
#include <stdbool.h>
#include <stdio.h>

/** Called once for each animal, in order of first appearance. Return non-LM_OK to stop. */
typedef enum lm_err lm_record_fn(const struct lm_record *rec, long line, void *ctx);

/** Called for each problem found; every bad row is reported, not only the first. */
typedef void lm_problem_fn(const struct lm_problem *p, void *ctx);

/** Called now and then with bytes done and bytes in all (0 when not known). May be NULL. */
typedef void lm_progress_fn(long long done, long long total, void *ctx);

struct lm_regcsv_hooks {
    void (*begin)(uint32_t animals, uint32_t devices, void *ctx); /**< once, before the first
        record, so that room can be made; may be NULL */
    lm_record_fn *record;
    lm_problem_fn *problem;
    lm_progress_fn *progress;
    void *ctx;
    bool lenient; /**< reconcile: words that are not known for form and place become unknown */
};

/**
 * Read a register.
 * Record is called only after the whole file was read and no row was bad.
 * Refused by name: ragged rows, NUL, bad UTF-8, unknown or double columns, codes damaged by a
 * spreadsheet (9.99E+14, lost zeros, a 16th digit), dates that do not exist, an animal whose rows
 * disagree, more than LM_DEVICES_MAX devices.
 * Told one by one are 1000 problems; one more says how many were left out. Code `err` of a problem
 * is LM_EINPUT, or that of lm_decode().
 * @param[in] name  For messages.
 * @return LM_OK, LM_EINPUT after problems were reported, LM_EIO, LM_ENOMEM, or what record gave.
 */
enum lm_err lm_regcsv_read(FILE *in, const char *name, const struct lm_regcsv_hooks *hooks);

/**
 * Write the header line, then each animal's rows (an animal without devices gets one row).
 * CRLF line ends; a cell is in quotes only where that is needed; no byte order mark; texts that a
 * spreadsheet takes for formulas stay as they are: this is the form for machines.
 * @return LM_OK, LM_EIO, or LM_EARG for an empty key or text that is not clean (nothing is
 * written).
 */
enum lm_err lm_regcsv_write_header(FILE *out);
enum lm_err lm_regcsv_write(FILE *out, const struct lm_record *rec);

#endif
