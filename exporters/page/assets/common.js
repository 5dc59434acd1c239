// What all of a take's scripts use.

const byId = (id) => document.getElementById(id);

/** Return a time as m:ss, or h:mm:ss from an hour on. */
function clock(time) {
  const whole = Math.floor(time + 1e-6), s = String(whole % 60).padStart(2, "0"), m = Math.floor(whole / 60);
  return m < 60 ? `${m}:${s}` : `${Math.floor(m / 60)}:${String(m % 60).padStart(2, "0")}:${s}`;
}

/** Return the index of the first of the rising numbers that is greater than the value. */
function firstAfter(numbers, value) {
  let low = 0, high = numbers.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (numbers[middle] > value) high = middle; else low = middle + 1;
  }
  return low;
}

/** Return the greatest number; Math.max(...) would overflow the stack with a long take's. */
function greatest(numbers) {
  return numbers.reduce((a, b) => Math.max(a, b), -Infinity);
}
