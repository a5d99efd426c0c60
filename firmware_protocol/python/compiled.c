/* The module emberline_wire._compiled: the two steps of reading a frame of samples that take Python the longest.
 *
 * Either answers None to whatever it does not take, and the caller reads the same bytes in Python, which alone says what
 * is wrong with them. So this needs to know no more than the one form in which a message of samples is sent. */
#define PY_SSIZE_T_CLEAN
#define Py_LIMITED_API 0x030b0000
#include <Python.h>
#include <stdbool.h>
#include <stdint.h>
#include <string.h>

/* Bounds: PROTOCOL.md, section 3. */
#define MAX_STUFFED_BYTES 510
#define MAX_STREAM 63u
#define MAX_SAMPLES 250u
#define MIN_PERIOD_US 1000u
#define MAX_PERIOD_US 60000000u
#define MAX_SPAN_US 2097120u

PyDoc_STRVAR(unstuff_doc, "Return what was stuffed with COBS; None where it is no valid COBS or longer than a frame.");

static PyObject *unstuff(PyObject *module, PyObject *argument) {
    char *stuffed = NULL;
    Py_ssize_t size = 0;
    Py_ssize_t used = 0;
    char data[MAX_STUFFED_BYTES];
    (void)module;
    if (PyBytes_AsStringAndSize(argument, &stuffed, &size) < 0) {
        return NULL;
    }
    if ((size > MAX_STUFFED_BYTES) || (memchr(stuffed, 0, (size_t)size) != NULL)) {
        Py_RETURN_NONE;
    }
    for (Py_ssize_t at = 0; at < size;) {
        const Py_ssize_t run = (Py_ssize_t)(uint8_t)stuffed[at] - 1;
        at++;
        if (run > (size - at)) {
            Py_RETURN_NONE;
        }
        memcpy(&data[used], &stuffed[at], (size_t)run);
        at += run;
        used += run;
        if ((run < 254) && (at < size)) {
            data[used] = 0;
            used++;
        }
    }
    return PyBytes_FromStringAndSize(data, used);
}

/* What is left of a body. */
typedef struct {
    const uint8_t *at;
    const uint8_t *end;
} rest;

typedef struct {
    uint8_t tag; /* 0 where there is no array */
    uint32_t count;
    const uint8_t *bytes;
    uint32_t size;
} array;

/* Takes so many bytes as a number, the first the most significant. */
static bool take_bytes(rest *body, unsigned count, uint32_t *value) {
    if (count > (unsigned)(body->end - body->at)) {
        return false;
    }
    *value = 0;
    for (unsigned i = 0; i < count; i++) {
        *value = (*value << 8) | body->at[i];
    }
    body->at += count;
    return true;
}

/* Takes the head of an item of a major type, with an argument of at most 32 bits. */
static bool take_head(rest *body, unsigned major, uint32_t *argument) {
    uint32_t first = 0;
    if (!take_bytes(body, 1u, &first) || ((first >> 5) != major) || ((first & 0x1Fu) > 26u)) {
        return false;
    }
    *argument = first & 0x1Fu;
    return (*argument < 24u) || take_bytes(body, 1u << (*argument - 24u), argument);
}

/* Takes a key of the map if it is the next. */
static bool take_key(rest *body, uint8_t key) {
    const bool next = (body->at < body->end) && (*body->at == key);
    body->at += next ? 1 : 0;
    return next;
}

static bool take_number(rest *body, uint8_t key, uint32_t most, uint32_t *value) {
    return take_key(body, key) && take_head(body, 0u, value) && (*value <= most);
}

/* Returns the bytes of one item of a typed array, 0 for a tag that is not in use. */
static uint32_t item_bytes(uint32_t tag) {
    switch (tag) {
        case 64u: case 72u: return 1u;
        case 69u: case 77u: return 2u;
        case 70u: case 78u: case 85u: return 4u;
        case 86u: return 8u;
        default: return 0u;
    }
}

static bool take_array(rest *body, array *taken) {
    uint32_t tag = 0;
    if (!take_head(body, 6u, &tag) || !take_head(body, 2u, &taken->size)) {
        return false;
    }
    const uint32_t each = item_bytes(tag);
    if ((each == 0u) || (taken->size % each != 0u) || (taken->size > (uint32_t)(body->end - body->at))) {
        return false;
    }
    taken->tag = (uint8_t)tag;
    taken->count = taken->size / each;
    taken->bytes = body->at;
    body->at += taken->size;
    return true;
}

static bool decrease(const array *offsets) {
    for (uint32_t i = 2; i < offsets->size; i += 2u) {
        const uint8_t *const two = &offsets->bytes[i];
        if ((two[0] | (two[1] << 8)) < (two[-2] | (two[-1] << 8))) {
            return true;
        }
    }
    return false;
}

/* A message of samples: numbers in the order in which they are handed on, then arrays. */
enum { BOOT, STREAM, FIRST_SEQ, TICKS, OLDEST_SEQ, PERIOD_US, VALUES_TAG, NUMBERS };
enum { VALUES, OFFSETS, FAULTS, ARRAYS };

static bool take_samples(rest *body, uint32_t numbers[NUMBERS], array arrays[ARRAYS]) {
    uint32_t entries = 0;
    uint32_t type = 0;
    if (!take_head(body, 5u, &entries) || !take_number(body, 0u, UINT32_MAX, &type) || (type != 2u) ||
        !take_number(body, 1u, UINT32_MAX, &numbers[BOOT]) || !take_number(body, 2u, MAX_STREAM, &numbers[STREAM]) ||
        !take_number(body, 3u, UINT32_MAX - MAX_SAMPLES, &numbers[FIRST_SEQ]) ||
        !take_number(body, 4u, UINT32_MAX, &numbers[TICKS])) {
        return false;
    }
    const bool even = take_number(body, 5u, MAX_PERIOD_US, &numbers[PERIOD_US]);
    if (!even && (!take_key(body, 6u) || !take_array(body, &arrays[OFFSETS]))) {
        return false;
    }
    if (!take_key(body, 7u) || !take_array(body, &arrays[VALUES]) ||
        !take_number(body, 8u, numbers[FIRST_SEQ], &numbers[OLDEST_SEQ])) {
        return false;
    }
    const bool faulty = take_key(body, 9u);
    if ((faulty && !take_array(body, &arrays[FAULTS])) || (entries != (faulty ? 9u : 8u))) {
        return false;
    }
    const uint32_t count = arrays[VALUES].count;
    numbers[VALUES_TAG] = arrays[VALUES].tag;
    if ((count == 0u) || (count > MAX_SAMPLES) ||
        (faulty && ((arrays[FAULTS].tag != 64u) || (arrays[FAULTS].count != count)))) {
        return false;
    }
    if (even) {
        return (numbers[PERIOD_US] >= MIN_PERIOD_US) &&
               ((uint64_t)numbers[PERIOD_US] * (count - 1u) <= MAX_SPAN_US);
    }
    return (arrays[OFFSETS].tag == 69u) && (arrays[OFFSETS].count == count) && !decrease(&arrays[OFFSETS]);
}

PyDoc_STRVAR(
    read_samples_doc,
    "Return of each message in a body boot, stream, first_seq, ticks, oldest_seq, period_us (0 where there is none), "
    "tag of the values, values, offsets and faults (None where there are none); None unless all are sound messages of "
    "samples as they are sent."
);

/* Returns a new tuple, or NULL with an error set. */
static PyObject *fields_of(const uint32_t numbers[NUMBERS], const array arrays[ARRAYS]) {
    PyObject *const fields = PyTuple_New((Py_ssize_t)NUMBERS + ARRAYS);
    for (Py_ssize_t i = 0; (fields != NULL) && (i < (Py_ssize_t)NUMBERS + ARRAYS); i++) {
        const array *const one = (i < NUMBERS) ? NULL : &arrays[i - NUMBERS];
        PyObject *const field = (one == NULL)    ? PyLong_FromUnsignedLong(numbers[i])
                                : (one->tag > 0) ? PyBytes_FromStringAndSize((const char *)one->bytes, one->size)
                                                 : Py_NewRef(Py_None);
        if ((field == NULL) || (PyTuple_SetItem(fields, i, field) < 0)) {
            Py_DECREF(fields);
            return NULL;
        }
    }
    return fields;
}

static PyObject *read_samples(PyObject *module, PyObject *argument) {
    char *bytes = NULL;
    Py_ssize_t size = 0;
    (void)module;
    if (PyBytes_AsStringAndSize(argument, &bytes, &size) < 0) {
        return NULL;
    }
    if (size > UINT16_MAX) {
        Py_RETURN_NONE;
    }
    rest body = {.at = (const uint8_t *)bytes, .end = (const uint8_t *)bytes + size};
    PyObject *const messages = PyList_New(0);
    while ((messages != NULL) && (body.at < body.end)) {
        uint32_t numbers[NUMBERS] = {0};
        array arrays[ARRAYS] = {{0}};
        if (!take_samples(&body, numbers, arrays)) {
            Py_DECREF(messages);
            Py_RETURN_NONE;
        }
        PyObject *const fields = fields_of(numbers, arrays);
        const bool kept = (fields != NULL) && (PyList_Append(messages, fields) == 0);
        Py_XDECREF(fields);
        if (!kept) {
            Py_DECREF(messages);
            return NULL;
        }
    }
    return messages;
}

static PyMethodDef methods[] = {
    {"unstuff", unstuff, METH_O, unstuff_doc},
    {"read_samples", read_samples, METH_O, read_samples_doc},
    {NULL, NULL, 0, NULL},
};

static struct PyModuleDef definition = {
    PyModuleDef_HEAD_INIT, "emberline_wire._compiled", "Two steps of reading, compiled.", 0, methods,
    NULL, NULL, NULL, NULL
};

PyMODINIT_FUNC PyInit__compiled(void) {
    return PyModule_Create(&definition);
}
