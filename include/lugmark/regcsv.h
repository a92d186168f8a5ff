/** @file regcsv.h
 * The register as CSV (RFC 4180, UTF-8): one row a device, the animal's columns repeat.
 *
 * Columns, by name in any order: animal, species, breed, sex, born, dam, sire, mob, status, form,
 * place, colour, official, eid, visual, applied, removed; and, written by export and taken when
 * there: castrated, status_date, why, uid, eid_text, replaces. Only eid or visual must be there.
 * Rows with the same animal are one animal, wherever they stand; a cell left empty says nothing and
 * may be filled in another row. Without that column, or with that cell empty, each row is one
 * animal. It is then called by its visual number, else its 15 digits, else `row LINE`: the first
 * not in use.
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

/**
 * A mapping: what a file of another layout calls columns, words and dates. Read from a file for
 * people, INI with these sections; `;` or `#` begins a remark, a name that holds `=` or `;` or ends
 * in a blank stands in double quotes (a double quote inside it is doubled).
 *
 *   [file]
 *   dates = dmy              ; order of dates such as 3/4/2026: dmy, mdy or ymd. Never guessed:
 *                            ; without it only 2026-04-03, 2026-04 and 2026 are taken
 *   others = ignore          ; columns named nowhere: refuse (as without it) or ignore
 *   [columns]
 *   Tag number = visual      ; their name = ours
 *   Weight = ignore          ; left out knowingly
 *   [constants]
 *   species = sheep          ; a column that the file does not have, the same in each row
 *   [sex]                    ; a section for any column of words or text: their word = ours
 *   Ewe = female
 *   N/A =                    ; nothing: as if the cell were empty
 *
 * Names and words of the file are compared without regard to case, and blank, `-` and `_` are the
 * same. A column of the file with one of our names needs no line.
 */
struct lm_regcsv_map;

#define LM_REGCSV_MAP_LINES 2000u /**< most lines of a mapping */

struct lm_regcsv_hooks {
    void (*begin)(uint32_t animals, uint32_t devices, void *ctx); /**< once, before the first
        record, so that room can be made; may be NULL */
    lm_record_fn *record;
    lm_problem_fn *problem;
    lm_progress_fn *progress;
    void *ctx;
    const struct lm_regcsv_map *map; /**< what a file of another layout calls things; NULL: ours */
    struct lm_date
        today;    /**< set: also refused are dates after it, a device that was removed before
it was applied, and a row that says of its animal what another said already; none: taken */
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
 * Read a mapping; every bad line is told: an unknown section or field (with the nearest name), a
 * field named twice, a word that the field cannot have.
 * @param[in]  name  For messages; kept, because the file it is used on may contradict it.
 * @param[out] map   Ownership: lm_regcsv_map_free(). NULL unless LM_OK.
 * @return LM_OK, LM_EINPUT after problems were told, LM_EIO, LM_ENOMEM.
 */
enum lm_err lm_regcsv_map_read(
    FILE *in, const char *name, lm_problem_fn *problem, void *ctx, struct lm_regcsv_map **map);
void lm_regcsv_map_free(struct lm_regcsv_map *map); /**< NULL is allowed */

/**
 * Write the header line, then each animal's rows (an animal without devices gets one row).
 * CRLF line ends; a cell is in quotes only where that is needed; no byte order mark; texts that a
 * spreadsheet takes for formulas stay as they are: this is the form for machines.
 * @return LM_OK, LM_EIO, or LM_EARG for an empty key or text that is not clean (nothing is
 * written).
 */
enum lm_err lm_regcsv_write_header(FILE *out);
enum lm_err lm_regcsv_write(FILE *out, const struct lm_record *rec);

/**
 * The same for people who open it in a spreadsheet program: a byte order mark in front, and a `'`
 * before each text that such a program would run as a formula (= + - @ first, after any quotes).
 * The reader above knows such a file by its byte order mark and its column eid_text, and takes one
 * `'` off again, there and nowhere else: both forms lose nothing.
 */
enum lm_err lm_regcsv_write_sheet_header(FILE *out);
enum lm_err lm_regcsv_write_sheet(FILE *out, const struct lm_record *rec);

#endif
