// A receiver that is a generator, as a driver module of SoapySDR 0.8: a known signal at the pace of the clock.
//
// Signal (device argument "signal"):
//   tone     a carrier at 100.25 MHz, 12 dB below full scale
//   channel  carriers of equal level every rate/16384 across 96.672 to 103.328 MHz, and 35 dB lower (density) outside
//   noise    Gaussian, 20 dB below full scale
// Other arguments: bits 8 or 12; stop_after N samples, then every read fails ("fails" 1) or times out; overflow_at N
// samples (one overflow); refuse 1 (cannot be opened); crash 1 (the process is aborted when opened).
#include <SoapySDR/Device.hpp>
#include <SoapySDR/Registry.hpp>
#include <SoapySDR/Formats.h>
#include <SoapySDR/Errors.h>
#include <chrono>
#include <complex>
#include <cstdint>
#include <cstdlib>
#include <random>
#include <stdexcept>
#include <thread>

namespace {
typedef std::complex<double> Z;
const double PI = 3.14159265358979323846;
const size_t LOOP = 16384;
const double TONE_HZ = 100.25e6, CENTRE_HZ = 100e6, HALF_HZ = 3.328e6, SHOULDER = 0.017783;  // amplitude, -35 dB

void transform(std::vector<Z> &x) {  // inverse, radix 2, not scaled
    const size_t n = x.size();
    if (n == 1) return;
    std::vector<Z> even(n / 2), odd(n / 2);
    for (size_t i = 0; i < n / 2; i++) { even[i] = x[2 * i]; odd[i] = x[2 * i + 1]; }
    transform(even); transform(odd);
    for (size_t i = 0; i < n / 2; i++) {
        const Z t = std::polar(1.0, 2 * PI * i / n) * odd[i];
        x[i] = even[i] + t; x[i + n / 2] = even[i] - t;
    }
}

std::string of(const SoapySDR::Kwargs &a, const std::string &key, const std::string &other) {
    return a.count(key) ? a.at(key) : other;
}
}

class Generator : public SoapySDR::Device {
    std::string signal; int bits; long long stopAfter, overflowAt, given = 0, paced = 0;
    bool fails, active = false; double rate = 2.4e6, tuned = 100e6, lna = 0, behind = 0;
    std::vector<Z> loop; std::mt19937 random{7};
    std::chrono::steady_clock::time_point begun;

    void prepare() {
        loop.clear();
        if (signal != "channel") return;
        std::vector<Z> bins(LOOP);
        for (long i = -(long)LOOP / 2; i < (long)LOOP / 2; i++) {
            const double hz = tuned + i * rate / LOOP;
            std::mt19937 own((unsigned)(long long)std::llround(hz));
            const double phase = 2 * PI * own() / 4294967296.0;
            bins[(i + LOOP) % LOOP] = std::polar(std::abs(hz - CENTRE_HZ) < HALF_HZ ? 1.0 : SHOULDER, phase);
        }
        transform(bins);
        for (auto &z : bins) z *= 0.0025;  // some 12 dB below full scale
        loop = bins;
    }
public:
    Generator(const SoapySDR::Kwargs &a)
        : signal(of(a, "signal", "tone")), bits(std::stoi(of(a, "bits", "8"))),
          stopAfter(std::stoll(of(a, "stop_after", "-1"))), overflowAt(std::stoll(of(a, "overflow_at", "-1"))),
          fails(of(a, "fails", "0") == "1") {
        if (of(a, "refuse", "0") == "1") throw std::runtime_error("held by another program");
        if (of(a, "crash", "0") == "1") std::abort();
    }
    std::string getDriverKey() const { return "generator"; }
    std::string getHardwareKey() const { return "signal generator of the tests"; }
    size_t getNumChannels(const int direction) const { return direction == SOAPY_SDR_RX ? 1 : 0; }
    std::vector<std::string> getStreamFormats(const int, const size_t) const {
        return {bits == 8 ? SOAPY_SDR_CS8 : SOAPY_SDR_CS16};
    }
    std::string getNativeStreamFormat(const int, const size_t, double &scale) const {
        scale = bits == 8 ? 128 : 2048;
        return bits == 8 ? SOAPY_SDR_CS8 : SOAPY_SDR_CS16;
    }
    std::vector<std::string> listGains(const int, const size_t) const { return {"LNA", "IF"}; }
    SoapySDR::Range getGainRange(const int, const size_t, const std::string &) const { return SoapySDR::Range(0, 30, 2); }
    void setGain(const int, const size_t, const std::string &name, const double value) {
        (name == "LNA" ? lna : behind) = 2 * std::round(value / 2);
    }
    double getGain(const int, const size_t, const std::string &name) const { return name == "LNA" ? lna : behind; }
    void setFrequency(const int, const size_t, const double hz, const SoapySDR::Kwargs &) { tuned = hz; prepare(); }
    double getFrequency(const int, const size_t) const { return tuned; }
    SoapySDR::RangeList getFrequencyRange(const int, const size_t) const { return {SoapySDR::Range(50e6, 1800e6)}; }
    void setSampleRate(const int, const size_t, const double hz) { rate = hz; prepare(); }
    double getSampleRate(const int, const size_t) const { return rate; }
    SoapySDR::RangeList getSampleRateRange(const int, const size_t) const { return {SoapySDR::Range(0.2e6, 20e6)}; }

    SoapySDR::Stream *setupStream(const int, const std::string &format, const std::vector<size_t> &,
                                  const SoapySDR::Kwargs &) {
        if (format != getStreamFormats(0, 0)[0]) throw std::runtime_error("no such format");
        return (SoapySDR::Stream *)this;
    }
    void closeStream(SoapySDR::Stream *) {}
    int activateStream(SoapySDR::Stream *, const int, const long long, const size_t) {
        active = true; paced = 0; begun = std::chrono::steady_clock::now();
        return 0;
    }
    int deactivateStream(SoapySDR::Stream *, const int, const long long) { active = false; return 0; }

    int readStream(SoapySDR::Stream *, void *const *buffs, const size_t wanted, int &, long long &, const long timeoutUs) {
        if (!active) return SOAPY_SDR_TIMEOUT;
        if (stopAfter >= 0 && given >= stopAfter) {
            if (fails) return SOAPY_SDR_STREAM_ERROR;
            std::this_thread::sleep_for(std::chrono::microseconds(timeoutUs));
            return SOAPY_SDR_TIMEOUT;
        }
        if (overflowAt >= 0 && given >= overflowAt) { overflowAt = -1; return SOAPY_SDR_OVERFLOW; }
        const size_t n = std::min(wanted, (size_t)8192);
        std::normal_distribution<double> bell(0, 0.1 / std::sqrt(2.0));
        const double full = bits == 8 ? 127 : 2047;
        for (size_t i = 0; i < n; i++) {
            const long long at = given + i;
            Z z;
            if (signal == "tone") z = std::polar(0.25, 2 * PI * std::fmod((TONE_HZ - tuned) / rate * at, 1.0));
            else if (signal == "channel") z = loop[at % LOOP];
            else z = Z(bell(random), bell(random));
            z *= std::pow(10.0, (lna + behind) / 20);
            const double re = std::max(-full, std::min(full, std::round(z.real() * full)));
            const double im = std::max(-full, std::min(full, std::round(z.imag() * full)));
            if (bits == 8) { ((int8_t *)buffs[0])[2 * i] = (int8_t)re; ((int8_t *)buffs[0])[2 * i + 1] = (int8_t)im; }
            else { ((int16_t *)buffs[0])[2 * i] = (int16_t)re; ((int16_t *)buffs[0])[2 * i + 1] = (int16_t)im; }
        }
        given += n; paced += n;
        std::this_thread::sleep_until(begun + std::chrono::microseconds((long long)(paced / rate * 1e6)));
        return (int)n;
    }
};

static SoapySDR::KwargsList findGenerator(const SoapySDR::Kwargs &) {
    SoapySDR::Kwargs found;
    found["driver"] = "generator"; found["label"] = "Signal generator"; found["serial"] = "7";
    return {found};
}
static SoapySDR::Device *makeGenerator(const SoapySDR::Kwargs &a) { return new Generator(a); }
static SoapySDR::Registry registered("generator", &findGenerator, &makeGenerator, SOAPY_SDR_ABI_VERSION);
