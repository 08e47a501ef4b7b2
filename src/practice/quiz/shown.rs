//! What a screen may show of a quiz.

use super::Quiz;
use super::phase::{Phase, Told};
use crate::journal::entry::{QuestionKind, Verdict};
use crate::practice::Command;
use crate::practice::view::{self, Stage};

/// What the player may say of an answer that nobody heard.
const CHOICES: &[(Command, &str)] =
    &[(Command::Overrule(Verdict::Clean), msgid!("held")), (Command::Overrule(Verdict::Broken), msgid!("did not"))];

impl Quiz {
    pub(super) fn stage(&self) -> Stage<'_> {
        Stage::Quiz(match &self.phase {
            Phase::Ready | Phase::Between { told: None, .. } => {
                view::Quiz::Ready { length: &self.length_words, is_told: self.config.is_told }
            }
            Phase::Between { told: Some(Told { is_held, large, small }), .. } => view::Quiz::Told { is_held: *is_held, large, small },
            Phase::Asked(asking) => {
                let (idx, _) = asking.subject();
                let question = &self.questions[idx];
                let kind = self.questions[asking.question].kind;
                let (large, small) = (question.large.as_str(), question.small.as_slice());
                if kind == QuestionKind::Jump && idx == asking.question {
                    view::Quiz::Called { large, small }
                } else if asking.has_begun() {
                    view::Quiz::Answering { kind }
                } else {
                    view::Quiz::Asked { kind, large, small, is_told: self.is_told(asking.question) }
                }
            }
            Phase::Mark { asking, .. } => view::Quiz::Mark { question: &self.questions[asking.question].check, choices: CHOICES },
            Phase::Paused { .. } => return Stage::Paused,
            Phase::Finished { account } => return Stage::Finished { account },
        })
    }
}
