/* What strings lose inside foliage, see survey/propagation/around/plants.py. */

#include "around.h"

/* Whether a place lies inside an outline in plan. */
static bool within(const Bodies *bodies, int first, int last, double x, double y)
{
    bool inside = false;
    for (int i = first; i < last; i++) {
        const double *p = bodies->plant_xy_m + 2 * i, *q = bodies->plant_xy_m + 2 * (i + 1 < last ? i + 1 : first);
        if ((p[1] > y) != (q[1] > y) && x < p[0] + (y - p[1]) / (q[1] - p[1]) * (q[0] - p[0])) inside = !inside;
    }
    return inside;
}

/* Length of a leg inside a plant; places has room for where the leg meets its outline. */
static double chord_m(const Bodies *bodies, int plant, const double *one, const double *other, double *places)
{
    int first = bodies->plant_first[plant], last = bodies->plant_first[plant + 1], count = 0;
    double d[3] = {other[0] - one[0], other[1] - one[1], other[2] - one[2]}, low = 0.0, high = 1.0, inside = 0.0;
    double base_m = bodies->plant_base_m[plant], top_m = bodies->plant_top_m[plant];
    if (fabs(d[2]) < 1e-12) {
        if (!(base_m + TOUCH_M < one[2] && one[2] < top_m - TOUCH_M)) return 0.0;
    } else {
        double a = (base_m + TOUCH_M - one[2]) / d[2], b = (top_m - TOUCH_M - one[2]) / d[2];
        low = larger(low, smaller(a, b));
        high = smaller(high, larger(a, b));
    }
    if (low >= high) return 0.0;
    places[count++] = low;
    for (int i = first; i < last; i++) {
        const double *p = bodies->plant_xy_m + 2 * i, *q = bodies->plant_xy_m + 2 * (i + 1 < last ? i + 1 : first);
        double px = p[0] - one[0], py = p[1] - one[1], qx = q[0] - one[0], qy = q[1] - one[1];
        double s1 = d[0] * py - d[1] * px, s2 = d[0] * qy - d[1] * qx;
        if ((s1 > 0.0) == (s2 > 0.0)) continue;
        double share = s1 / (s1 - s2), x = px + share * (qx - px), y = py + share * (qy - py);
        double t = (x * d[0] + y * d[1]) / larger(d[0] * d[0] + d[1] * d[1], 1e-18);
        if (!(low < t && t < high)) continue;
        int place = count++;
        for (; place > 1 && places[place - 1] > t; place--) places[place] = places[place - 1];
        places[place] = t;
    }
    places[count++] = high;
    double aside = TOUCH_M / larger(sqrt(d[0] * d[0] + d[1] * d[1]), TOUCH_M);
    for (int i = 0; i + 1 < count; i++) {
        double t = 0.5 * (places[i] + places[i + 1]), x = one[0] + t * d[0], y = one[1] + t * d[1], right = aside * d[1], ahead = aside * d[0];
        /* What runs along the outline is outside: both sides of the leg have to lie within. */
        if (within(bodies, first, last, x - right, y + ahead) && within(bodies, first, last, x + right, y - ahead)) inside += places[i + 1] - places[i];
    }
    return inside * sqrt(dot(d, d));
}

/* A point behind a mirror as it is in space. */
static void back(const double *point, double away_m, const Image *image, double *to)
{
    double move = -2.0 * smaller(away_m, 0.0);
    for (int i = 0; i < 3; i++) to[i] = point[i] + move * image->normal[i];
}

/* Legs of a string as they run in space; gives how many. */
static int folded(const double *points, int count, const Image *image, double (*legs)[6])
{
    int found = 0;
    for (int k = 0; k + 1 < count; k++) {
        const double *one = points + 3 * k, *other = one + 3;
        if (!image) {
            memcpy(legs[found++], one, 6 * sizeof *one);
            continue;
        }
        double away_1 = dot(one, image->normal) - image->offset_m, away_2 = dot(other, image->normal) - image->offset_m;
        if ((away_1 < 0.0 && 0.0 < away_2) || (away_2 < 0.0 && 0.0 < away_1)) {
            double share = away_1 / (away_1 - away_2);
            back(one, away_1, image, legs[found]);
            for (int i = 0; i < 3; i++) legs[found][3 + i] = legs[found + 1][i] = one[i] + share * (other[i] - one[i]);
            back(other, away_2, image, legs[found + 1] + 3);
            found += 2;
        } else {
            back(one, away_1, image, legs[found]);
            back(other, away_2, image, legs[found++] + 3);
        }
    }
    return found;
}

/* Loss of a string given by its corners in space; NaN without memory. */
double plants_loss_db(const Bodies *bodies, Workspace *work, const double *points, int count, const Image *image)
{
    double legs[2 * (MAX_CORNERS + 1)][6], total_db = 0.0;
    if (!bodies->plants) return 0.0;
    int most = 0, leg_count = folded(points, count, image, legs);
    for (int plant = 0; plant < bodies->plants; plant++) {
        int corners = bodies->plant_first[plant + 1] - bodies->plant_first[plant];
        if (corners > most) most = corners;
    }
    if (!make_room(&work->chords, &work->chord_room, most + 2, sizeof *work->chords)) return NAN;
    for (int plant = 0; plant < bodies->plants; plant++) {
        double inside_m = 0.0;
        for (int leg = 0; leg < leg_count; leg++) inside_m += chord_m(bodies, plant, legs[leg], legs[leg] + 3, work->chords);
        total_db += smaller(inside_m * bodies->plant_db_per_m[plant], bodies->plant_most_db[plant]);
    }
    return total_db;
}
