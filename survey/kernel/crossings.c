/* Which sheets every line from a start to an end goes through: survey/geometry/crossings.py states the rules.

   Of starts and ends the fewer are hubs. Around each hub the others, the spokes, are sorted by azimuth; a sheet fills a wedge
   there, so that only lines of its direction are looked at. What is decided about a line depends on the line alone, and is
   worked out from its start to its end whichever is the hub, so that it comes out the same to the last bit. */

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "kernel.h"

#define MIN_BINS 64
#define MAX_BINS 8192
#define HALF_TURN 1.99  /* a sheet that fills so much of the horizon is all around the hub, or so near that a wedge means little */
#define SPARE_BINS 0.01 /* how much wider than the sheet a wedge is made, against rounding */

/* Sheets, and the lengths by which the rules decide, all in metres. */
typedef struct {
    index_t sheets, edges;
    const double *normal, *offset, *edge_normal, *edge_offset, *grown, *cost;
    const index_t *group;
    double on_sheet, edge, same_point;
} Scene;

/* Rows of the answer; rows past the capacity are counted and not kept, and `most` tells how many there ever were. */
typedef struct {
    index_t capacity, count, most;
    index_t *start, *end, *sheet;
    double *fraction, *inside;
} Rows;

/* A crossing at an edge, or a run within a plane, which another one of the same obstacle or building may stand for. */
typedef struct {
    index_t spoke, group, row;
    double first, last, cost;
    int is_run, repeats;
} Shared;

typedef struct {
    Shared *items;
    index_t count, capacity;
} SharedList;

/* The spokes around a hub, in the order of their azimuth, and room for how far inside the edges of a sheet points lie. */
typedef struct {
    index_t bins, *begins, *spoke, *picked, *of_spoke;
    double *x, *y, *z, *at_hub, *at_spoke;
} Fan;

static void add_row(Rows *rows, index_t start, index_t end, index_t sheet, double fraction, double inside)
{
    index_t row = rows->count++;
    if (rows->count > rows->most) rows->most = rows->count;
    if (row >= rows->capacity) return;
    rows->start[row] = start;
    rows->end[row] = end;
    rows->sheet[row] = sheet;
    rows->fraction[row] = fraction;
    rows->inside[row] = inside;
}

/* Grows with the azimuth of (x, y), by one a quarter turn, from 0 to 4: as good as an angle, and quick. */
static double turn(double x, double y)
{
    double size = fabs(x) + fabs(y);
    if (size == 0.0) return 0.0;
    return y < 0.0 ? 3.0 + x / size : 1.0 - x / size;
}

static void sort_spokes(Fan *fan, const double *hub, const double *spokes, index_t count)
{
    memset(fan->begins, 0, (size_t)(fan->bins + 1) * sizeof *fan->begins);
    for (index_t k = 0; k < count; k++) {
        index_t bin = (index_t)(turn(spokes[3 * k] - hub[0], spokes[3 * k + 1] - hub[1]) * 0.25 * (double)fan->bins);
        fan->of_spoke[k] = bin & (fan->bins - 1);
        fan->begins[fan->of_spoke[k] + 1]++;
    }
    for (index_t bin = 0; bin < fan->bins; bin++) fan->begins[bin + 1] += fan->begins[bin];
    for (index_t k = 0; k < count; k++) {
        index_t at = fan->begins[fan->of_spoke[k]]++;
        fan->spoke[at] = k;
        fan->x[at] = spokes[3 * k];
        fan->y[at] = spokes[3 * k + 1];
        fan->z[at] = spokes[3 * k + 2];
    }
    memmove(fan->begins + 1, fan->begins, (size_t)fan->bins * sizeof *fan->begins);
    fan->begins[0] = 0;
}

/* The bins that a sheet fills as seen from a hub: the first of them, and how many. */
static index_t wedge(const Scene *scene, index_t sheet, const double *hub, index_t bins, index_t *first)
{
    const double *corner = scene->grown + sheet * scene->edges * 3;
    double begin = turn(corner[0] - hub[0], corner[1] - hub[1]), least = 0.0, most = 0.0;
    for (index_t k = 1; k < scene->edges; k++) {
        double from = turn(corner[3 * k] - hub[0], corner[3 * k + 1] - hub[1]) - begin;
        if (from >= 2.0) from -= 4.0;
        if (from < -2.0) from += 4.0;
        least = smaller(least, from);
        most = larger(most, from);
    }
    *first = 0;
    if (most - least >= HALF_TURN) return bins;
    double low = floor((begin + least) * 0.25 * (double)bins - SPARE_BINS);
    double high = floor((begin + most) * 0.25 * (double)bins + SPARE_BINS);
    *first = (index_t)low & (bins - 1);
    return high - low + 1.0 < (double)bins ? (index_t)(high - low) + 1 : bins;
}

/* How far a point is on the positive side of a sheet's plane. */
static double side_of(const Scene *scene, index_t sheet, const double *point)
{
    return dot(scene->normal + 3 * sheet, point) - scene->offset[sheet];
}

/* How far inside each edge of a sheet a point lies; gives the least of them. */
static double inside_edges(const Scene *scene, index_t sheet, const double *point, double *inside)
{
    double least = INFINITY;
    for (index_t k = 0; k < scene->edges; k++) {
        index_t edge = sheet * scene->edges + k;
        inside[k] = dot(scene->edge_normal + 3 * edge, point) - scene->edge_offset[edge];
        if (inside[k] < least) least = inside[k];
    }
    return least;
}

/* Whether a line within the plane of a sheet runs over it, and where it comes over it and leaves it. */
static int runs_over(const Scene *scene, const double *inside_1, const double *inside_2, double *enter, double *leave)
{
    *enter = 0.0;
    *leave = 1.0;
    for (index_t k = 0; k < scene->edges; k++) {
        double one = inside_1[k] + scene->edge, other = inside_2[k] + scene->edge;
        if (one < 0.0 && other < 0.0) return 0;
        if (other > one) *enter = larger(*enter, one / (one - other));
        if (other < one) *leave = smaller(*leave, one / (one - other));
    }
    return *enter <= *leave;
}

static int share(SharedList *list, Shared item)
{
    if (list->count == list->capacity) {
        index_t capacity = list->capacity ? 2 * list->capacity : 256;
        Shared *items = realloc(list->items, (size_t)capacity * sizeof *items);
        if (!items) return 0;
        list->items = items;
        list->capacity = capacity;
    }
    list->items[list->count++] = item;
    return 1;
}

static int by_line_and_place(const void *one, const void *other)
{
    const Shared *a = one, *b = other;
    if (a->spoke != b->spoke) return a->spoke < b->spoke ? -1 : 1;
    if (a->group != b->group) return a->group < b->group ? -1 : 1;
    if (a->first != b->first) return a->first < b->first ? -1 : 1;
    return a->row < b->row ? -1 : a->row > b->row;
}

/* Of some items all but the costliest, of those that cost the same the one of the lowest row, repeat it. */
static void keep_costliest(Shared *items, index_t from, index_t to, int is_run, int none)
{
    index_t best = -1;
    for (index_t i = from; i < to; i++) {
        if (items[i].is_run != is_run) continue;
        if (best < 0 || items[i].cost > items[best].cost || (items[i].cost == items[best].cost && items[i].row < items[best].row)) best = i;
    }
    for (index_t i = from; i < to; i++)
        if (items[i].is_run == is_run) items[i].repeats = none || i != best;
}

/* Mark what repeats another one of its line and obstacle or building: points that are one, runs that touch, runs with a point on them. */
static void mark_repeats(Shared *items, index_t count, double same_point)
{
    for (index_t from = 0, to; from < count; from = to) {
        for (to = from + 1; to < count; to++)
            if (items[to].spoke != items[from].spoke || items[to].group != items[from].group) break;
        index_t begin = from, previous = -1;
        for (index_t i = from; i < to; i++) {
            if (items[i].is_run) continue;
            if (previous >= 0 && items[i].first > items[previous].first + same_point) {
                keep_costliest(items, begin, i, 0, 0);
                begin = i;
            }
            previous = i;
        }
        keep_costliest(items, begin, to, 0, 0);
        for (index_t i = from, next; i < to; i = next) {
            double reached = items[i].last;
            int has_point = 0;
            for (next = i; next < to && items[next].first <= reached + same_point; next++) {
                reached = larger(reached, items[next].last);
                has_point |= !items[next].is_run;
            }
            keep_costliest(items, i, next, 1, has_point);
        }
    }
}

/* Take rows out that repeat others, from a first row on. */
static void drop_repeats(Rows *rows, SharedList *list, index_t from, unsigned char *drop)
{
    index_t kept_rows = rows->count < rows->capacity ? rows->count : rows->capacity, kept = from, dropped = 0;
    for (index_t i = 0; i < list->count; i++) dropped += list->items[i].repeats;
    if (!dropped) return;
    for (index_t i = 0; i < list->count; i++)
        if (list->items[i].row < kept_rows) drop[list->items[i].row] = (unsigned char)list->items[i].repeats;
    for (index_t row = from; row < kept_rows; row++) {
        if (drop[row]) {
            drop[row] = 0;
            continue;
        }
        rows->start[kept] = rows->start[row];
        rows->end[kept] = rows->end[row];
        rows->sheet[kept] = rows->sheet[row];
        rows->fraction[kept] = rows->fraction[row];
        rows->inside[kept] = rows->inside[row];
        kept++;
    }
    rows->count -= dropped;
}

/* All lines from one hub through one sheet; 0 when memory runs out. */
static int through_sheet(const Scene *scene, index_t sheet, const double *hub_m, index_t hub, int from_start, Fan *fan,
                         Rows *crossed, SharedList *list, const double *spokes)
{
    double *at_hub = fan->at_hub, *at_spoke = fan->at_spoke;
    double side_hub = side_of(scene, sheet, hub_m), away_hub = fabs(side_hub);
    double least_hub = inside_edges(scene, sheet, hub_m, at_hub);
    if (away_hub <= scene->on_sheet && least_hub >= -scene->on_sheet) return 1; /* the hub stands on the sheet */
    index_t first, width = wedge(scene, sheet, hub_m, fan->bins, &first), picked = 0;
    const double *normal = scene->normal + 3 * sheet;
    const double nx = normal[0], ny = normal[1], nz = normal[2], offset = scene->offset[sheet];
    const double towards = side_hub < 0.0 ? -1.0 : 1.0;
    while (width > 0) { /* what goes past the end of the circle is a part of its own */
        index_t part = width < fan->bins - first ? width : fan->bins - first;
        for (index_t k = fan->begins[first]; k < fan->begins[first + part]; k++) {
            double side = nx * fan->x[k] + ny * fan->y[k] + nz * fan->z[k] - offset;
            fan->picked[picked] = k;
            picked += side * towards <= scene->edge;
        }
        width -= part;
        first = 0;
    }
    for (index_t i = 0; i < picked; i++) {
        index_t spoke = fan->spoke[fan->picked[i]];
        const double *spoke_m = spokes + 3 * spoke;
        double side_spoke = side_of(scene, sheet, spoke_m), away_spoke = fabs(side_spoke);
        int in_plane = away_hub <= scene->edge && away_spoke <= scene->edge;
        if (!in_plane && !((side_hub < 0.0 && side_spoke > 0.0) || (side_hub > 0.0 && side_spoke < 0.0))) continue;
        const double *inside_1 = from_start ? at_hub : at_spoke, *inside_2 = from_start ? at_spoke : at_hub;
        double away_1 = from_start ? away_hub : away_spoke, away_2 = from_start ? away_spoke : away_hub;
        double enter = in_plane ? 0.0 : away_1 / (away_1 + away_2), leave = enter, inside = INFINITY, least = INFINITY;
        for (index_t k = 0; k < scene->edges; k++) {
            index_t edge = sheet * scene->edges + k;
            at_spoke[k] = dot(scene->edge_normal + 3 * edge, spoke_m) - scene->edge_offset[edge];
            if (at_spoke[k] < least) least = at_spoke[k];
            double there = inside_1[k] + enter * (inside_2[k] - inside_1[k]);
            if (there < inside) inside = there;
            if (!in_plane && inside < -scene->edge) break;
        }
        if (in_plane) {
            if (!runs_over(scene, inside_1, inside_2, &enter, &leave)) continue;
            inside = 0.0;
        } else if (inside < -scene->edge) {
            continue;
        }
        if (away_spoke <= scene->on_sheet && least >= -scene->on_sheet) continue; /* the spoke stands on the sheet */
        index_t start = from_start ? hub : spoke, end = from_start ? spoke : hub;
        double fraction = in_plane ? (enter + leave) / 2.0 : enter;
        add_row(crossed, start, end, sheet, fraction, inside);
        if (inside <= scene->same_point) {
            double dx = spoke_m[0] - hub_m[0], dy = spoke_m[1] - hub_m[1], dz = spoke_m[2] - hub_m[2];
            double length = sqrt(dx * dx + dy * dy + dz * dz);
            Shared item = {spoke, scene->group[sheet], crossed->count - 1, enter * length, leave * length, scene->cost[sheet], in_plane, 0};
            if (!share(list, item)) return 0;
        }
    }
    return 1;
}

static double height(const Scene *scene, index_t sheet, int highest)
{
    const double *corner = scene->grown + sheet * scene->edges * 3;
    double found = corner[2];
    for (index_t k = 1; k < scene->edges; k++) found = highest ? larger(found, corner[3 * k + 2]) : smaller(found, corner[3 * k + 2]);
    return found;
}

/* Gives -1 where memory runs out, else 0; counts are the crossings, and the room they need. */
ENTRY index_t survey_crossings(const double *starts, index_t start_count, const double *ends, index_t end_count,
                               index_t sheets, index_t edges, const double *normal, const double *offset,
                               const double *edge_normal, const double *edge_offset, const double *grown,
                               const index_t *group, const double *cost, double on_sheet, double edge, double same_point, index_t capacity,
                               index_t *start, index_t *end, index_t *sheet, double *fraction, double *inside,
                               index_t *counts);

ENTRY index_t survey_crossings(const double *starts, index_t start_count, const double *ends, index_t end_count,
                               index_t sheets, index_t edges, const double *normal, const double *offset,
                               const double *edge_normal, const double *edge_offset, const double *grown,
                               const index_t *group, const double *cost, double on_sheet, double edge, double same_point, index_t capacity,
                               index_t *start, index_t *end, index_t *sheet, double *fraction, double *inside,
                               index_t *counts)
{
    Scene scene = {sheets, edges, normal, offset, edge_normal, edge_offset, grown, cost, group, on_sheet, edge, same_point};
    Rows crossed = {capacity, 0, 0, start, end, sheet, fraction, inside};
    int from_start = start_count < end_count;
    const double *hubs = from_start ? starts : ends, *spokes = from_start ? ends : starts;
    index_t hub_count = from_start ? start_count : end_count, spoke_count = from_start ? end_count : start_count;
    SharedList list = {NULL, 0, 0};
    Fan fan = {.bins = MIN_BINS};
    while (fan.bins < 2 * spoke_count && fan.bins < MAX_BINS) fan.bins *= 2;
    size_t some = (size_t)spoke_count + 1;
    fan.begins = malloc((size_t)(fan.bins + 1) * sizeof *fan.begins);
    fan.spoke = malloc(3 * some * sizeof *fan.spoke);
    fan.x = malloc((3 * some + 2 * (size_t)edges) * sizeof *fan.x);
    double *heights = malloc(2 * ((size_t)sheets + 1) * sizeof *heights);
    unsigned char *drop = calloc((size_t)capacity + 1, 1);
    index_t answer = -1;
    if (!fan.begins || !fan.spoke || !fan.x || !heights || !drop) goto done;
    fan.picked = fan.spoke + some;
    fan.of_spoke = fan.picked + some;
    fan.y = fan.x + some;
    fan.z = fan.y + some;
    fan.at_hub = fan.z + some;
    fan.at_spoke = fan.at_hub + edges;
    double lowest = INFINITY, highest = -INFINITY;
    for (index_t k = 0; k < spoke_count; k++) {
        lowest = smaller(lowest, spokes[3 * k + 2]);
        highest = larger(highest, spokes[3 * k + 2]);
    }
    for (index_t k = 0; k < sheets; k++) {
        heights[2 * k] = height(&scene, k, 0);
        heights[2 * k + 1] = height(&scene, k, 1);
    }
    for (index_t hub = 0; hub < hub_count; hub++) {
        const double *hub_m = hubs + 3 * hub;
        index_t from = crossed.count < crossed.capacity ? crossed.count : crossed.capacity;
        double low = smaller(lowest, hub_m[2]), high = larger(highest, hub_m[2]);
        sort_spokes(&fan, hub_m, spokes, spoke_count);
        list.count = 0;
        for (index_t k = 0; k < sheets; k++) {
            if (heights[2 * k] > high || heights[2 * k + 1] < low) continue;
            if (!through_sheet(&scene, k, hub_m, hub, from_start, &fan, &crossed, &list, spokes)) goto done;
        }
        if (list.count) {
            qsort(list.items, (size_t)list.count, sizeof *list.items, by_line_and_place);
            mark_repeats(list.items, list.count, same_point);
            drop_repeats(&crossed, &list, from, drop);
        }
    }
    counts[0] = crossed.count;
    counts[1] = crossed.most;
    answer = 0;
done:
    free(list.items);
    free(fan.begins);
    free(fan.spoke);
    free(fan.x);
    free(heights);
    free(drop);
    return answer;
}
