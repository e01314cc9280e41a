#include <chrono>
#include <cstdint>
#include <span>
#include <utility>

#include <spdlog/spdlog.h>

#include "server/broker/client.hpp"
#include "server/live_out/way.hpp"

namespace turnstone {

namespace {

using Clock = std::chrono::steady_clock;

constexpr std::chrono::seconds kTryAgain{5};
/// Messages that the broker has not acknowledged; what comes meanwhile is left out.
constexpr int kOutMax = 200;

class BrokerWay final : public Way {
  public:
    explicit BrokerWay(const BrokerTarget& target)
        : access_(target.access), name_("turnstone-values-" + target.station),
          topic_("turnstone/" + target.station + "/values") {}
    [[nodiscard]] std::size_t most_bytes() const noexcept override { return 64u << 10; }

    void send(const std::string& lines) override {
        if (!connected_ || out_ >= kOutMax) {
            ++left_out_;
            return;
        }
        if (const auto sent = client_->publish(topic_, std::as_bytes(std::span(lines)), false))
            ++out_;
        else
            lose(sent.error().message);
    }

    void turn() override {
        if (client_ == nullptr) {
            if (Clock::now() < next_try_) return;
            client_ = std::make_unique<BrokerClient>(
                access_, name_, false,
                BrokerCallbacks{.on_connected = [this] { connected(); },
                                .on_acknowledged = [this](int, const std::string& refused) { acknowledged(refused); }});
            if (const auto made = client_->connect(); !made) return lose(made.error().message);
        }
        if (const auto turned = client_->turn(0); !turned) lose(turned.error().message);
    }

  private:
    void connected() {
        connected_ = true;
        said_.clear();
        if (left_out_ > 0)
            spdlog::warn("Values to the broker {}: {} messages were left out while it was away", access_.place(),
                         left_out_);
        left_out_ = 0;
    }
    void acknowledged(const std::string& refused) {
        --out_;
        if (!refused.empty()) say("it refuses (" + refused + ")");
    }
    void lose(const std::string& why) {
        say(why);
        client_.reset();
        connected_ = false;
        out_ = 0;
        next_try_ = Clock::now() + kTryAgain;
    }
    /// Once, however often it is so.
    void say(const std::string& why) {
        if (std::exchange(said_, why) != why) spdlog::warn("Values to the broker {}: {}", access_.place(), why);
    }

    const BrokerAccess access_;
    const std::string name_, topic_;
    std::unique_ptr<BrokerClient> client_;
    Clock::time_point next_try_{};
    bool connected_ = false;
    int out_ = 0;
    std::uint64_t left_out_ = 0;
    std::string said_;
};

} // namespace

std::unique_ptr<Way> make_way(const BrokerTarget& target) {
    return std::make_unique<BrokerWay>(target);
}

} // namespace turnstone
